#include "stages/report/words/next_flight.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <numbers>
#include <opencv2/imgproc.hpp>

#include "stages/report/overlay_shapes.h"
#include "stages/report/words/field_text.h"
#include "stages/report/words/flight_figures.h"

namespace lookdown::report {
namespace {

constexpr std::size_t kLeastFrames = 5;
constexpr double kSlowEnough = 0.9;  ///< share of frames that the advice is to serve
/// Common practice for joining pictures of flat ground.
constexpr double kForwardOverlap = 0.6, kSideOverlap = 0.3;

/// The value that this share of the list does not exceed.
double quantile(std::vector<double> values, double share) {
  std::sort(values.begin(), values.end());
  const auto place = static_cast<std::size_t>(std::ceil(share * static_cast<double>(values.size())));
  return values[std::clamp<std::size_t>(place, 1, values.size()) - 1];
}

/// Of what is known of frames; empty when nothing is.
template <class Figure>
std::optional<double> median_of(const FlightRecord& record, Figure figure) {
  std::vector<double> values;
  for (const FrameRecord& frame : record.frames)
    if (const std::optional<double> value = figure(frame)) values.push_back(*value);
  const auto range = spread(std::move(values));
  return range ? std::optional(range->median) : std::nullopt;
}

std::string shutter_in_words(double seconds) {
  return seconds < 0.3 ? fmt::format("1/{:.0f} s", 1 / seconds) : fmt::format("{:.1f} s", seconds);
}

std::optional<std::string> on_shutter(const FlightRecord& record) {
  const auto speed = image_speed_px_s(record);
  // One that the camera really took: between 1/1600 and 1/1000 lies none that a person could set.
  std::vector<double> exposures;
  for (const FrameRecord& frame : record.frames)
    if (frame.info.exposure_s) exposures.push_back(*frame.info.exposure_s);
  if (!speed || exposures.empty()) return std::nullopt;
  const double flown = quantile(exposures, 0.5);
  const double smear_px = *speed * flown;
  if (smear_px <= 1)
    return fmt::format("Shutter: {} was short enough; nine of ten frames moved by less than a pixel.",
                       shutter_in_words(flown));
  constexpr double kShortestUsual_s = 1.0 / 8000;
  const double wanted_s = shutter_for_one_pixel_s(*speed);
  std::string text =
      fmt::format("Shutter: at {} nine of ten frames smeared by up to {:.1f} px; {} keeps that to one pixel.",
                  shutter_in_words(flown), smear_px, shutter_in_words(wanted_s));
  if (wanted_s < kShortestUsual_s)
    text += " Few cameras go that short: hang the camera more calmly, or fly in less wind.";
  return text;
}

std::optional<std::string> on_focus(const FlightRecord& record) {
  const auto reasons = reason_counts(record, Verdict::drop);
  const auto blurred = std::find_if(reasons.begin(), reasons.end(),
                                    [](const auto& entry) { return entry.first == "blurred"; });
  if (blurred == reasons.end()) return std::nullopt;
  return fmt::format(
      "Focus: {} of {} frames are blurred without smear. Focus by hand on something as far away as the "
      "ground will be, and tape the ring.",
      blurred->second, record.frames.size());
}

std::optional<std::string> on_spacing(const FlightRecord& record) {
  const auto overlap = forward_overlap_share(record);
  if (!overlap) return std::nullopt;
  std::string text =
      fmt::format("Spacing: a frame shared {:.0f} % of its ground with the next placed one.", 100 * *overlap);
  const auto gsd = median_of(record, [&](const FrameRecord& frame) { return gsd_m(record, frame); });
  const auto short_px = median_of(record, [](const FrameRecord& frame) -> std::optional<double> {
    return frame.placement.placed
               ? std::optional<double>(std::min(frame.source.width_px, frame.source.height_px))
               : std::nullopt;
  });
  const auto long_px = median_of(record, [](const FrameRecord& frame) -> std::optional<double> {
    return frame.placement.placed
               ? std::optional<double>(std::max(frame.source.width_px, frame.source.height_px))
               : std::nullopt;
  });
  if (gsd && short_px && long_px)
    text += fmt::format(
        " From the same height, frames {} apart along a line and lines {} apart overlap by {:.0f} % and "
        "{:.0f} %.",
        length_in_words(*short_px * *gsd * (1 - kForwardOverlap)),
        length_in_words(*long_px * *gsd * (1 - kSideOverlap)), 100 * kForwardOverlap, 100 * kSideOverlap);
  else
    text += fmt::format(" {:.0f} % along a line and {:.0f} % between lines are common practice.",
                        100 * kForwardOverlap, 100 * kSideOverlap);
  return text;
}

std::optional<std::string> on_height(const FlightRecord& record) {
  const auto height = median_of(record, [&](const FrameRecord& frame) { return height_m(record, frame); });
  const auto gsd = median_of(record, [&](const FrameRecord& frame) { return gsd_m(record, frame); });
  if (!height || !gsd || *height <= 0) return std::nullopt;
  return fmt::format(
      "Height: {:.0f} m gave {} a pixel; half the height shows things half as large, and needs four times as "
      "many frames.",
      *height, length_in_words(*gsd));
}

/// Half the angle that a frame sees from corner to corner.
std::optional<double> half_field_deg(const FrameRecord& frame) {
  const Camera& camera = frame.info.camera;
  if (camera.fx_px <= 0 || frame.fault) return std::nullopt;
  return std::atan(std::hypot(frame.source.width_px, frame.source.height_px) / 2 / camera.fx_px) * 180 /
         std::numbers::pi;
}

std::optional<std::string> on_time_of_day(const FlightRecord& record) {
  const auto with_glare =
      std::count_if(record.frames.begin(), record.frames.end(), [](const FrameRecord& frame) {
        constexpr double kSeen = 0.001;
        return frame.glare && frame.glare->glare_share > kSeen;
      });
  if (with_glare == 0) return std::nullopt;
  std::string text =
      fmt::format("Time of day: {} of {} frames show glare.", with_glare, record.frames.size());
  const auto elevation = median_of(record, [](const FrameRecord& frame) -> std::optional<double> {
    return frame.sun && frame.sun->elevation_deg > 0 ? std::optional(frame.sun->elevation_deg) : std::nullopt;
  });
  const auto field = median_of(record, half_field_deg);
  if (!elevation || !field)
    return text +
           " With the place (--lat-deg, --lon-deg) and the clock's offset (--utc-offset-h) the page can tell "
           "at which sun it would stay out.";
  // Still water mirrors the sun as far from straight down as it stands from straight up.
  const double mirror_deg = 90 - *elevation;
  if (mirror_deg > *field)
    return text + fmt::format(
                      " The sun stood {:.0f}\u00b0 high, its mirror image {:.0f}\u00b0 from straight down "
                      "and outside a level frame's corner ({:.0f}\u00b0): "
                      "swing and waves brought it in.",
                      *elevation, mirror_deg, *field);
  return text + fmt::format(
                    " The sun stood {:.0f}\u00b0 high and was mirrored {:.0f}\u00b0 from straight down, "
                    "inside the frame (corner at {:.0f}\u00b0). "
                    "Below {:.0f}\u00b0 its image stays out; lookdown plan tells the hours.",
                    *elevation, mirror_deg, *field, 90 - *field);
}

std::vector<cv::Point2f> corners(const FrameRecord& frame) {
  std::vector<cv::Point2f> points;
  for (const Point2<MosaicPx>& p : footprint(frame))
    points.emplace_back(static_cast<float>(p.x), static_cast<float>(p.y));
  std::vector<cv::Point2f> hull;
  if (points.size() > 2) cv::convexHull(points, hull);
  return hull;
}

}  // namespace

std::optional<double> image_speed_px_s(const FlightRecord& record) {
  std::vector<double> speeds;
  for (const FrameRecord& frame : record.frames)
    if (frame.sharpness && frame.sharpness->smear_px && frame.info.exposure_s && *frame.info.exposure_s > 0)
      speeds.push_back(*frame.sharpness->smear_px / *frame.info.exposure_s);
  if (speeds.size() < kLeastFrames) return std::nullopt;
  return quantile(std::move(speeds), kSlowEnough);
}

double shutter_for_one_pixel_s(double speed_px_s) {
  // Thirds of a stop from 1/30 s as cameras name them.
  constexpr double kUsual[] = {30,   40,   50,   60,    80,    100,   125,   160,   200,  250,  320,
                               400,  500,  640,  800,   1000,  1250,  1600,  2000,  2500, 3200, 4000,
                               5000, 6400, 8000, 10000, 12800, 16000, 20000, 25600, 32000};
  for (const double parts : kUsual)
    if (parts >= speed_px_s) return 1 / parts;
  return 1 / speed_px_s;
}

std::optional<double> forward_overlap_share(const FlightRecord& record) {
  std::vector<double> shares;
  std::vector<cv::Point2f> before;
  for (const FrameRecord& frame : record.frames) {
    if (frame.placement.group != 0 || !frame.decision.repeat_of.empty()) continue;
    std::vector<cv::Point2f> here = corners(frame);
    if (here.size() < 3) continue;
    if (!before.empty()) {
      std::vector<cv::Point2f> shared;
      shares.push_back(cv::intersectConvexConvex(before, here, shared) /
                       std::max(1.0, cv::contourArea(here)));
    }
    before = std::move(here);
  }
  if (shares.size() < 3) return std::nullopt;
  return quantile(std::move(shares), 0.5);
}

std::vector<std::string> next_flight_advice(const FlightRecord& record) {
  std::vector<std::string> advice;
  for (const auto& sentence :
       {on_shutter(record), on_focus(record), on_spacing(record), on_height(record), on_time_of_day(record)})
    if (sentence) advice.push_back(*sentence);
  return advice;
}

}  // namespace lookdown::report
