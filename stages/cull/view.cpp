#include "stages/cull/view.h"

#include <opencv2/core.hpp>
#include <optional>

#include "stages/cull/duplicates/thumbnail.h"
#include "stages/cull/strangers.h"

namespace lookdown::cull {
namespace {

// Common practice speaks of "near vertical" up to about 3 degrees for surveys; a swinging kite camera is
// granted more. At 20 degrees the far side of a frame 60 degrees across lies cos(10) / cos(50) = 1.5 times as
// far as the near side, so that two thirds of the resolution are left there.
constexpr double kNadirLimitDeg = 20;
// Of CIELAB as the thumbnail holds it, levels of 255. Day skies of photographs, clear or with broken clouds,
// are bluer than 14 (13 of 13 parts) and hold nothing yellow; lake shores and rendered ground reach 8 (of
// 214). Water as blue as that is green beside it.
constexpr double kSkyBlue = 12, kGreenestSky = -4, kYellow = 4, kMostYellowShare = 0.03;
constexpr double kOvercast = -1.5;    // of b* toward blue
constexpr double kDarkLevel = 0.004;  // of full scale in linear light: about 10 of 255 in an 8-bit picture

bool lens_covered(const Sharpness& s) {
  return s.mean_level < kDarkLevel;
}

double blueness(const Thumbnail& picture) {
  return 128 - cv::mean(picture.blue_yellow)[0];
}

/// Even, bright and nothing to measure.
bool blank_and_bright(const Sharpness& s, const Thumbnail& picture) {
  cv::Scalar mean, deviation;
  cv::meanStdDev(picture.luminance, mean, deviation);
  return s.detail < 0.1 && mean[0] > 130 && deviation[0] < 12;
}

/// Blue all over as the day sky is, whatever clouds stand in it.
bool all_blue(const Thumbnail& picture) {
  const double yellow_share = cv::countNonZero(picture.blue_yellow > 128 + kYellow) /
                              static_cast<double>(picture.blue_yellow.total());
  return blueness(picture) > kSkyBlue && yellow_share < kMostYellowShare &&
         cv::mean(picture.red_green)[0] - 128 > kGreenestSky;
}

bool surely_oblique(const FrameRecord& frame) {
  return frame.tilt && frame.tilt->off_nadir_deg - frame.tilt->sigma_deg > kNadirLimitDeg;
}

Reason oblique(const Tilt& tilt) {
  return {"oblique", tilt.off_nadir_deg, kNadirLimitDeg, "deg"};
}

ViewFinding view_of(const FrameRecord& frame, std::optional<double> coarse_horizon_log_odds) {
  ViewFinding out;
  if (!frame.sharpness) return {View::other, {}};
  if (lens_covered(*frame.sharpness))
    return {View::other, {{"dark", frame.sharpness->mean_level, kDarkLevel, "of full scale", Verdict::drop}}};
  if (frame.horizon) {
    out.view = View::horizon;
    out.reasons.push_back({"horizon in the frame", frame.horizon->pitch_deg, std::nullopt, "deg pitch"});
    return out;
  }
  if (!frame.horizon_looked_for && coarse_horizon_log_odds.value_or(0) > 0)
    return {View::horizon, {{"horizon seen at a glance", coarse_horizon_log_odds, 0, "log-odds"}}};
  if (surely_oblique(frame)) return {View::oblique, {oblique(*frame.tilt)}};
  if (const auto picture = read_thumbnail(frame.sharpness->signature)) {
    const bool blank = blank_and_bright(*frame.sharpness, *picture);
    if (blank && blueness(*picture) > 2)
      return {View::other, {{"only sky", std::nullopt, std::nullopt, "", Verdict::drop}}};
    if (all_blue(*picture))
      return {View::other, {{"blue all over as the sky", std::nullopt, std::nullopt, "", Verdict::unsure}}};
    if (blank && blueness(*picture) > kOvercast)
      return {View::other, {{"even and bright as clouds", std::nullopt, std::nullopt, "", Verdict::unsure}}};
  }
  return out;
}

/// What looks straight down at something that no other frame looks like, before the start and after the
/// landing. Amid a flight looks alone say too little: what hangs together tells it there, once frames are
/// placed. Where more than a few are unlike there the flight is over many kinds of ground, and looks say
/// nothing at its ends either.
void mark_unlike_at_the_ends(const std::vector<FrameRecord>& frames, std::vector<ViewFinding>& views) {
  constexpr double kFew = 0.05;
  std::vector<char> compared;
  compared.reserve(views.size());
  for (const ViewFinding& view : views) compared.push_back(view.view == View::nadir);
  const auto found = unlikeness(frames, compared);
  const auto is_unlike = [&](std::size_t i) { return found[i].value_or(0) > kUnlike; };
  std::size_t first = 0, end = frames.size(), amid = 0;
  while (first < end && (!compared[first] || is_unlike(first))) ++first;
  while (end > first && (!compared[end - 1] || is_unlike(end - 1))) --end;
  for (std::size_t i = first; i < end; ++i) amid += is_unlike(i) ? 1 : 0;
  if (static_cast<double>(amid) > kFew * static_cast<double>(end - first)) return;
  for (std::size_t i = 0; i < frames.size(); ++i)
    if ((i < first || i >= end) && is_unlike(i)) views[i] = {View::other, {unlike_the_others(*found[i])}};
}

}  // namespace

std::vector<ViewFinding> find_views(const std::vector<FrameRecord>& frames,
                                    const CoarseHorizons& coarse_horizons) {
  std::vector<ViewFinding> views;
  views.reserve(frames.size());
  for (std::size_t i = 0; i < frames.size(); ++i)
    views.push_back(view_of(frames[i], i < coarse_horizons.size() ? coarse_horizons[i] : std::nullopt));
  mark_unlike_at_the_ends(frames, views);
  return views;
}

void tell_obliques_by_placement(FlightRecord& flight) {
  for (FrameRecord& frame : flight.frames) {
    if (!frame.placement.placed || frame.decision.view != View::nadir || !surely_oblique(frame)) continue;
    frame.decision.view = View::oblique;
    frame.decision.reasons.push_back(oblique(*frame.tilt));
  }
}

}  // namespace lookdown::cull
