// What one flight teaches for the next: its camera, place and height, how fast its frames smeared, how far
// apart they lay.
#include <fmt/format.h>

#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <map>
#include <nlohmann/json.hpp>
#include <numbers>
#include <stdexcept>

#include "pipeline/base/angles.h"
#include "stages/plan/plan.h"
#include "stages/plan/shutter_in_words.h"

namespace lookdown::plan {
namespace {

// Fewer frames than this are no experience.
constexpr std::size_t kLeastFrames = 3;
// Half of the frames would be too little to ask for, all of them would let one gust decide (common practice).
constexpr double kMostFrames = 0.75;
// Paths turn and flights pause: what lies farther apart than this many middle steps is no step of a path.
constexpr double kLongestStep = 3;

double quantile(std::vector<double> values, double share) {
  std::sort(values.begin(), values.end());
  return values[std::min(values.size() - 1, static_cast<std::size_t>(share * double(values.size())))];
}

bool is_placed(const FrameRecord& frame) {
  return frame.placement.placed && frame.placement.group == 0;
}

/// The camera that took most of the frames, as one of its frames.
const FrameRecord* usual_camera(const FlightRecord& flight) {
  std::map<std::string, int> frames;
  const FrameRecord* usual = nullptr;
  for (const FrameRecord& frame : flight.frames) {
    if (frame.fault || frame.info.camera.fx_px <= 0) continue;
    const int count = ++frames[frame.info.camera_id];
    if (usual == nullptr || count > frames[usual->info.camera_id] || is_placed(frame) > is_placed(*usual))
      usual = &frame;
  }
  return usual;
}

void learn_camera(const FlightRecord& flight, Options& o) {
  const FrameRecord* frame = usual_camera(flight);
  if (frame == nullptr) throw std::invalid_argument("no frame of it tells its camera");
  const Camera& camera = is_placed(*frame) ? frame->placement.camera : frame->info.camera;
  o.width_px = frame->source.width_px;
  o.height_px = frame->source.height_px;
  // Only the ratio counts for what is seen; the length itself for the depth of field.
  if (frame->info.focal_length_mm) o.focal_mm = *frame->info.focal_length_mm;
  o.pixel_um = 1e3 * o.focal_mm / camera.fx_px;
  if (frame->info.f_number) o.f_number = *frame->info.f_number;
  const std::string name = frame->info.make.empty() || frame->info.model.starts_with(frame->info.make)
                               ? frame->info.model
                               : frame->info.make + " " + frame->info.model;
  o.camera_from = (name.empty() ? "that flight's camera" : name) + ", as in that flight";
}

void learn_place(const FlightRecord& flight, Options& o) {
  std::vector<double> lat, lon;
  for (const FrameRecord& frame : flight.frames) {
    if (frame.info.utc_offset_h && !o.utc_offset_h) o.utc_offset_h = frame.info.utc_offset_h;
    if (!frame.info.position) continue;
    lat.push_back(frame.info.position->lat_deg);
    lon.push_back(frame.info.position->lon_deg);
  }
  if (!lat.empty()) {
    o.lat_deg = quantile(lat, 0.5);
    o.lon_deg = quantile(lon, 0.5);
  }
  // What the person said then beats what the frames say.
  const nlohmann::json said = nlohmann::json::parse(flight.options_json, nullptr, false);
  const auto number = [&](const char* name) -> std::optional<double> {
    if (!said.is_object() || !said.contains(name) || !said[name].is_number()) return std::nullopt;
    return said[name].get<double>();
  };
  if (number("lat-deg") && number("lon-deg")) o.lat_deg = number("lat-deg"), o.lon_deg = number("lon-deg");
  if (number("utc-offset-h")) o.utc_offset_h = number("utc-offset-h");
}

void learn_height(const FlightRecord& flight, Options& o, std::vector<std::string>& advice) {
  std::vector<double> heights;
  if (flight.placement.gsd_m)
    for (const FrameRecord& frame : flight.frames)
      if (is_placed(frame)) heights.push_back(frame.placement.pose.centre.z());
  if (heights.empty()) {
    advice.push_back(
        "Height: not known from that flight, which has no scale; the height below is the default.");
    return;
  }
  o.height_m = quantile(heights, 0.5);
  advice.push_back(
      fmt::format("Height: {:.0f} m in the middle ({:.0f} to {:.0f} m), {:.1f} mm of ground a pixel.",
                  o.height_m, quantile(heights, 0), quantile(heights, 1), 1e3 * *flight.placement.gsd_m));
}

void learn_smear(const FlightRecord& flight, Options& o, std::vector<std::string>& advice) {
  std::vector<double> rates, smears, exposures;  // pixels a second, pixels, seconds
  for (const FrameRecord& frame : flight.frames) {
    if (frame.info.exposure_s && *frame.info.exposure_s > 0) exposures.push_back(*frame.info.exposure_s);
    if (!frame.sharpness || !frame.sharpness->smear_px || exposures.empty() || !frame.info.exposure_s)
      continue;
    smears.push_back(*frame.sharpness->smear_px);
    rates.push_back(*frame.sharpness->smear_px / *frame.info.exposure_s);
  }
  if (exposures.size() < kLeastFrames) {
    advice.push_back("Shutter: not told by that flight's frames.");
    return;
  }
  o.shutter_s = quantile(exposures, 0.5);
  if (rates.size() < kLeastFrames) return;
  const double rate = quantile(rates, kMostFrames), smear = quantile(smears, kMostFrames);
  if (!(rate > 0)) {
    advice.push_back(fmt::format("Shutter: {} was short enough: three frames in four show no smear.",
                                 shutter_in_words(o.shutter_s)));
    return;
  }
  // The expected smear below is then that of experience: as much turning as gives this rate.
  o.drift_m_s = 0;
  o.swing_deg = std::min(
      90.0, rate * o.pixel_um * 1e-3 / o.focal_mm * o.swing_period_s / (2 * std::numbers::pi) / kDegree);
  advice.push_back(
      smear <= 1
          ? fmt::format("Shutter: {} was short enough: three frames in four smeared by at most {:.1f} px.",
                        shutter_in_words(o.shutter_s), smear)
          : fmt::format("Shutter: a quarter of the frames smeared by more than {:.1f} px at {}; take {} or "
                        "shorter to keep three in four under one pixel.",
                        smear, shutter_in_words(o.shutter_s), shutter_in_words(1 / rate)));
}

void learn_spacing(const FlightRecord& flight, const Options& o, std::vector<std::string>& advice) {
  int usable = 0, unplaced = 0;
  for (const FrameRecord& frame : flight.frames) {
    if (frame.fault || frame.decision.verdict == Verdict::drop) continue;
    ++usable;
    unplaced += !is_placed(frame);
  }
  if (flight.placement.groups > 1)
    advice.push_back(fmt::format(
        "Overlap: the frames fell into {} groups that do not touch; fly paths that cross or lie closer.",
        flight.placement.groups));
  else if (unplaced > 0 && flight.placement.groups > 0)
    advice.push_back(
        fmt::format("Overlap: {} of {} sharp frames found no neighbour to join.", unplaced, usable));
  std::vector<double> steps, seconds;
  const FrameRecord* before = nullptr;
  for (const FrameRecord& frame : flight.frames) {
    if (!is_placed(frame)) continue;
    if (before != nullptr) {
      steps.push_back((frame.placement.pose.centre - before->placement.pose.centre).head<2>().norm());
      if (frame.info.taken_at_s && before->info.taken_at_s)
        seconds.push_back(*frame.info.taken_at_s - *before->info.taken_at_s);
    }
    before = &frame;
  }
  if (steps.size() < kLeastFrames || !flight.placement.gsd_m) return;
  const double middle = quantile(steps, 0.5);
  std::erase_if(steps, [&](double step) { return step > kLongestStep * middle; });
  const double step = quantile(steps, 0.5),
               footprint = std::min(shot_of(o).footprint_width_m, shot_of(o).footprint_height_m);
  const double overlap_percent = 100 * (1 - step / footprint);
  std::string words = fmt::format("Spacing: {:.1f} m from frame to frame, {:.0f} % overlap along the path",
                                  step, std::max(0.0, overlap_percent));
  const double wanted_m = footprint * (1 - o.forward_overlap_percent / 100);
  if (overlap_percent < o.forward_overlap_percent && seconds.size() >= kLeastFrames && step > 0)
    words +=
        fmt::format("; for {:g} % take one every {:.1f} s instead of {:.1f} s", o.forward_overlap_percent,
                    quantile(seconds, 0.5) * wanted_m / step, quantile(seconds, 0.5));
  advice.push_back(words + ".");
}

void learn_glare(const FlightRecord& flight, std::vector<std::string>& advice) {
  int water = 0, glaring = 0;
  std::vector<double> elevations;
  for (const FrameRecord& frame : flight.frames) {
    if (frame.sun) elevations.push_back(frame.sun->elevation_deg);
    if (!frame.glare || frame.glare->water_share <= 0) continue;
    ++water;
    glaring += frame.glare->glare_share > 0.01;  // a hundredth of the frame is what one notices
  }
  if (glaring == 0) return;
  std::string words = fmt::format("Time of day: {} of {} frames with water show glare", glaring, water);
  if (!elevations.empty()) words += fmt::format(", the sun {:.0f} deg high", quantile(elevations, 0.5));
  advice.push_back(words + "; fly at a time without glint.");
}

}  // namespace

std::vector<std::string> learn_from(const FlightRecord& flight, Options& options) {
  std::vector<std::string> advice;
  learn_camera(flight, options);
  learn_place(flight, options);
  learn_height(flight, options, advice);
  learn_smear(flight, options, advice);
  learn_spacing(flight, options, advice);
  learn_glare(flight, advice);
  return advice;
}

}  // namespace lookdown::plan
