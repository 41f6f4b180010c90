#include "stages/cull/blur_estimate.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

#include "stages/cull/blur_network.h"

namespace lookdown::cull {
namespace {

// The nulls of the spectrum place the length to a few per cent when the fit has found them; where it disagrees with the network by more than
// this factor it has found something else.
constexpr double kTrustedFactor = 1.5;

}  // namespace

DirectedWidth coarse_blur(const DirectionBands& bands) {
  std::array<double, kAxes> widths{};
  for (int k = 0; k < kAxes; ++k) widths[k] = std::exp(axis_width_network().evaluate(axis_features(bands, k))[0]);
  return directed_width(widths);
}

SpectrumFits fit_both(const SpectrumSamples& samples, const DirectedWidth& start) {
  SpectrumFits fits;
  fits.without_smear = fit_spectrum(samples, first_guess(samples), false);
  fits.with_smear.cost = std::numeric_limits<double>::max();
  const double smear_px = std::clamp(start.smear_px(), 1.5, 50.0);
  // The cost has a valley at each multiple of the null spacing: three starts, the best wins.
  for (double factor : {0.6, 1.0, 1.6}) {
    SpectrumFit guess = fits.without_smear;
    guess.variance_px2 = start.narrowest_px * start.narrowest_px;
    guess.smear_px = smear_px * factor;
    guess.direction_rad = start.direction_rad;
    const SpectrumFit fit = fit_spectrum(samples, guess, true);
    if (fit.cost < fits.with_smear.cost) fits.with_smear = fit;
  }
  return fits;
}

BlurEstimate estimate_blur(const MeanSpectrum& mean) {
  const DirectionBands bands = direction_bands(mean.log_power);
  const DirectedWidth start = coarse_blur(bands);
  const SpectrumFits fits = fit_both(samples_of(mean.log_power), start);
  const SpectrumContext context{mean.tiles, mean.middle_over_noise};
  const Eigen::VectorXf out = whole_network().evaluate(whole_features(bands, context, start, fits.without_smear, fits.with_smear));

  BlurEstimate blur;
  blur.log_odds_blurred = out[kLogOddsBlurred];
  blur.sigma_px = std::exp(out[kLogNarrowest]);
  blur.widest_px = std::exp(out[kLogWidest]);
  // Laplace scale b has the standard deviation sqrt(2) b.
  blur.spread = std::numbers::sqrt2 * std::exp(out[kLogWidestSpread]);
  blur.log_odds_smeared = out[kLogOddsSmeared];
  blur.smear_px = std::exp(out[kLogSmear]);
  if (std::abs(std::log(fits.with_smear.smear_px / blur.smear_px)) < std::log(kTrustedFactor)) blur.smear_px = fits.with_smear.smear_px;
  const double degrees = std::fmod(fits.with_smear.direction_rad * 180 / std::numbers::pi, 180.0);
  blur.smear_deg = degrees < 0 ? degrees + 180 : degrees;
  return blur;
}

}  // namespace lookdown::cull
