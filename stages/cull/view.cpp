#include "stages/cull/view.h"

#include <opencv2/core.hpp>

#include "stages/cull/signature.h"

namespace lookdown::cull {
namespace {

// A picture within 15 degrees of straight down can be used as a nadir frame (low oblique begins there: common practice
// speaks of "near vertical" up to about 3 degrees for surveys; a swinging kite camera is granted more).
constexpr double kNadirLimitDeg = 20;
constexpr double kDarkLevel = 0.004;  // of full scale in linear light: about 10 of 255 in an 8-bit picture

bool lens_covered(const Sharpness& s) { return s.mean_level < kDarkLevel; }

/// Sky and nothing else: even, bright, nothing to measure, bluer than grey or white.
bool only_sky(const Sharpness& s, const SignaturePicture& picture) {
  cv::Scalar mean, deviation;
  cv::meanStdDev(picture.luminance, mean, deviation);
  const double blue = 128 - cv::mean(picture.blue_yellow)[0];
  return s.detail < 0.1 && mean[0] > 130 && deviation[0] < 12 && blue > 2;
}

ViewFinding view_of(const FrameRecord& frame) {
  ViewFinding out;
  if (!frame.sharpness) return {View::other, {}};
  if (lens_covered(*frame.sharpness))
    return {View::other, {{"dark", frame.sharpness->mean_level, kDarkLevel, "of full scale"}}};
  if (frame.horizon) {
    out.view = View::horizon;
    out.reasons.push_back({"horizon in the frame", frame.horizon->pitch_deg, std::nullopt, "deg pitch"});
    return out;
  }
  if (frame.tilt && frame.tilt->off_nadir_deg - frame.tilt->sigma_deg > kNadirLimitDeg) {
    out.view = View::oblique;
    out.reasons.push_back({"oblique", frame.tilt->off_nadir_deg, kNadirLimitDeg, "deg"});
    return out;
  }
  if (const auto picture = read_signature(frame.sharpness->signature); picture && only_sky(*frame.sharpness, *picture))
    return {View::other, {{"only sky", std::nullopt, std::nullopt, ""}}};
  return out;
}

}  // namespace

std::vector<ViewFinding> find_views(const std::vector<FrameRecord>& frames) {
  std::vector<ViewFinding> views;
  views.reserve(frames.size());
  for (const FrameRecord& frame : frames) views.push_back(view_of(frame));
  return views;
}

}  // namespace lookdown::cull
