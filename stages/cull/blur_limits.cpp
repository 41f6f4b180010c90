#include "stages/cull/blur_limits.h"

#include <algorithm>
#include <cmath>

namespace lookdown::cull {
namespace {

constexpr double kFwhmOfSigma = 2.354820045;  // 2 sqrt(2 ln 2), of a Gaussian
constexpr std::size_t kFramesThatTell = 8;
constexpr double kSurelyKnown = 0.6;    // relative standard deviation
constexpr double kSharpestShare = 0.2;  // of the frames: their largest width stands for what is sharp here
// Standard deviations in pixels. A smear of 3 px has 0.87, a Gaussian that blurs visibly 1.3; lens and sensor
// alone 0.4 to 0.8.
constexpr double kLeastAdded = 0.5, kMostAdded = 0.9;
constexpr double kSharpestPossible = 0.45, kSoftestReference = 1.3;
constexpr double kLeastOdds = 0.6, kMostOdds = 2.5;
constexpr double kFixedSigma = 1.0;
constexpr double kFixedSmear_px = 3;

/// Border inside [low, high]: the middle of the widest gap (as a ratio) between neighbouring widths, the
/// band's ends among them.
double widest_gap(std::vector<double> sorted, double low, double high) {
  std::erase_if(sorted, [&](double w) { return w <= low || w >= high; });
  sorted.insert(sorted.begin(), low);
  sorted.push_back(high);
  double best = 0, at = low;
  for (std::size_t i = 0; i + 1 < sorted.size(); ++i)
    if (const double ratio = sorted[i + 1] / sorted[i]; ratio > best)
      best = ratio, at = std::sqrt(sorted[i] * sorted[i + 1]);
  return at;
}

/// The score also weighs the odds of a blur, which see short smears that the width hardly shows. Border in
/// the widest gap of the odds of sharp against blurred, inside the band where it may lie.
double sharpness_limit(const std::vector<FrameRecord>& frames, double leniency) {
  std::vector<double> odds;
  for (const FrameRecord& frame : frames)
    if (!frame.fault && frame.sharpness && frame.sharpness->sharpness)
      odds.push_back(*frame.sharpness->sharpness / std::max(1e-6, 1 - *frame.sharpness->sharpness));
  std::sort(odds.begin(), odds.end());
  if (odds.empty()) return 0;
  // The sharpest fifth are sharp, whatever the subject.
  const double high =
      std::min(kMostOdds / leniency,
               odds[static_cast<std::size_t>((1 - kSharpestShare) * static_cast<double>(odds.size() - 1))]);
  const double border = widest_gap(odds, std::min(kLeastOdds / leniency, high), high);
  return border / (1 + border);
}

}  // namespace

BlurLimits find_blur_limits(const std::vector<FrameRecord>& frames, const Options& options) {
  const double leniency = std::pow(2.0, 1 - 2 * std::clamp(options.strictness, 0.0, 1.0));
  BlurLimits limits;
  limits.smear_px = options.max_smear_px.value_or(kFixedSmear_px * leniency);
  limits.blur_fwhm_px = options.max_blur_px.value_or(kFwhmOfSigma * kFixedSigma * std::sqrt(leniency));
  if (options.max_blur_px) return limits;

  std::vector<double> sigmas;
  for (const FrameRecord& frame : frames) {
    if (frame.fault || !frame.sharpness || !frame.sharpness->blur_fwhm_px) continue;
    if (frame.sharpness->blur_sigma_share.value_or(0) < kSurelyKnown)
      sigmas.push_back(*frame.sharpness->blur_fwhm_px / kFwhmOfSigma);
  }
  if (sigmas.size() < kFramesThatTell) return limits;
  limits.least_sharpness = sharpness_limit(frames, leniency);
  std::sort(sigmas.begin(), sigmas.end());
  const double reference = std::clamp(sigmas[static_cast<std::size_t>(kSharpestShare * (sigmas.size() - 1))],
                                      kSharpestPossible, kSoftestReference);
  const double low = std::hypot(reference, kLeastAdded * leniency),
               high = std::hypot(reference, kMostAdded * leniency);
  limits.blur_fwhm_px = kFwhmOfSigma * widest_gap(sigmas, low, high);
  limits.blur_from_flight = true;
  return limits;
}

}  // namespace lookdown::cull
