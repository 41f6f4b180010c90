#include "stages/cull/blur_limits.h"

#include <algorithm>
#include <cmath>
#include <complex>
#include <numbers>

#include "pipeline/base/angles.h"

namespace lookdown::cull {
namespace {

constexpr std::size_t kFramesThatTell = 8;
constexpr double kSurelyKnown = 0.6;    // relative standard deviation
constexpr double kSharpestShare = 0.2;  // of the frames: their largest width stands for what is sharp here
// Standard deviations in pixels. A smear of 3 px has 0.87, a Gaussian that blurs visibly 1.3; lens and sensor
// alone 0.4 to 0.8.
constexpr double kAdded = 0.9;
constexpr double kSharpestPossible = 0.45, kSoftestReference = 1.3;
// The border's ln odds of sharp against blurred: those that the sharpest fifth have speak for three quarters,
// the rest is what cameras have in common. The weight was chosen on photographs for the area under the curve
// (tests/bench/cull, part tune, seeds 21 to 24: raw 0.994, 0.5 to 1 0.997); the constant leaves a usual
// camera, ln odds of 2.3, 0.15 of its best odds, of which 0.14 to 0.18 were as good.
constexpr double kCameraWeight = 0.75, kCommonLogOdds = -1.3;
constexpr double kFewBestShare = 0.05, kShareOfFewBestOdds = 0.3, kLeastOdds = 0.5;
constexpr double kNearlyAsSharp = 1.25;   // of the reference width
constexpr double kSharedDirection = 0.5;  // resultant length of the sharp frames' directions
constexpr double kSameDirection_deg = 25;
constexpr double kFixedSigma = 1.0;
constexpr double kFixedSmear_px = 3;

double odds_of(const Sharpness& s) {
  return *s.sharpness_alone / std::max(1e-6, 1 - *s.sharpness_alone);
}

/// The value that so large a share of `sorted` reaches or exceeds.
double reached_by(const std::vector<double>& sorted, double share) {
  return sorted[static_cast<std::size_t>(std::lround((1 - share) * static_cast<double>(sorted.size() - 1)))];
}

/// The score also weighs the odds of a blur, which see short smears that the width hardly shows: against what
/// the sharpest frames have, whatever the subject and the lens.
double border_odds(const std::vector<const Sharpness*>& measured) {
  std::vector<double> odds;
  for (const Sharpness* s : measured)
    if (s->sharpness_alone) odds.push_back(odds_of(*s));
  if (odds.empty()) return 0;
  std::sort(odds.begin(), odds.end());
  const double of_few = std::min(kLeastOdds, kShareOfFewBestOdds * reached_by(odds, kFewBestShare));
  return std::max(std::pow(reached_by(odds, kSharpestShare), kCameraWeight) * std::exp(kCommonLogOdds),
                  of_few);
}

/// The smear that more than half of the sharpest frames share, direction and all.
void note_own_smear(std::vector<const Sharpness*> measured, double reference_px, BlurLimits& limits) {
  std::erase_if(measured, [&](const Sharpness* s) {
    return !s->blur_fwhm_px || *s->blur_fwhm_px > kNearlyAsSharp * reference_px;
  });
  std::vector<double> lengths;
  std::complex<double> sum = 0;
  for (const Sharpness* s : measured) {
    lengths.push_back(s->smear_deg ? s->smear_px.value_or(0) : 0);
    // An axis has no sign: doubled angles add as vectors.
    if (lengths.back() > 0) sum += std::polar(1.0, 2 * *s->smear_deg * kDegree);
  }
  if (lengths.size() < kFramesThatTell ||
      std::abs(sum) < kSharedDirection * static_cast<double>(lengths.size()))
    return;
  std::sort(lengths.begin(), lengths.end());
  limits.own_smear_px = lengths[lengths.size() / 2];
  limits.own_smear_deg = std::fmod(std::arg(sum) * 90 / std::numbers::pi + 180, 180.0);
}

BlurLimits limits_of(const std::vector<const Sharpness*>& measured, const Options& options) {
  const double leniency = std::pow(2.0, 1 - 2 * std::clamp(options.strictness, 0.0, 1.0));
  BlurLimits limits;
  limits.smear_px = options.max_smear_px.value_or(kFixedSmear_px * leniency);
  limits.blur_fwhm_px = options.max_blur_px.value_or(kFwhmOfSigma * kFixedSigma * std::sqrt(leniency));
  if (options.max_blur_px) {
    limits.from = LimitFrom::option;
    return limits;
  }
  std::vector<double> sigmas;
  for (const Sharpness* s : measured)
    if (s->blur_fwhm_px && s->blur_sigma_share.value_or(0) < kSurelyKnown)
      sigmas.push_back(*s->blur_fwhm_px / kFwhmOfSigma);
  if (sigmas.size() < kFramesThatTell) return limits;
  std::sort(sigmas.begin(), sigmas.end());
  const double reference =
      std::max(sigmas[static_cast<std::size_t>(kSharpestShare * static_cast<double>(sigmas.size() - 1))],
               kSharpestPossible);
  if (reference > kSoftestReference) {
    limits.from = LimitFrom::no_sharp_frame;
    return limits;
  }
  limits.from = LimitFrom::camera;
  limits.border_odds = border_odds(measured);
  limits.least_sharpness = 1 / (1 + leniency);
  limits.blur_fwhm_px = kFwhmOfSigma * std::hypot(reference, kAdded * leniency);
  note_own_smear(measured, kFwhmOfSigma * reference, limits);
  return limits;
}

}  // namespace

std::optional<double> BlurLimits::sharpness_of(const Sharpness& s) const {
  if (!s.sharpness_alone || border_odds <= 0) return s.sharpness_alone;
  const double odds = odds_of(s);
  return odds / (odds + border_odds);
}

double BlurLimits::moved_px(const Sharpness& s) const {
  const double length_px = s.smear_px.value_or(0);
  if (own_smear_px <= 0 || !s.smear_deg) return length_px;
  const double turn_deg = std::abs(std::remainder(*s.smear_deg - own_smear_deg, 180.0));
  if (turn_deg > kSameDirection_deg) return length_px;
  return std::sqrt(std::max(0.0, length_px * length_px - own_smear_px * own_smear_px));
}

FlightBlurLimits::FlightBlurLimits(const std::vector<FrameRecord>& frames, const Options& options) {
  std::map<std::string, std::vector<const Sharpness*>> known;
  for (const FrameRecord& frame : frames) {
    auto& of_camera = known[frame.info.camera_id];
    if (!frame.fault && frame.sharpness) of_camera.push_back(&*frame.sharpness);
  }
  for (const auto& [camera, measured] : known) by_camera_[camera] = limits_of(measured, options);
}

const BlurLimits& FlightBlurLimits::of(const FrameRecord& frame) const {
  return by_camera_.at(frame.info.camera_id);
}

}  // namespace lookdown::cull
