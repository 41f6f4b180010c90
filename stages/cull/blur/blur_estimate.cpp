#include "stages/cull/blur/blur_estimate.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <optional>

#include "pipeline/base/angles.h"
#include "stages/cull/blur/network/blur_network.h"

namespace lookdown::cull {
namespace {

// The nulls of the spectrum place the length to a few per cent when the fit has found them. Where it
// disagrees with the network by more than this factor, one of the two has found something else: the fit is
// right where the smear explains so many times more than a Gaussian does, and the network where it does not.
// Chosen on blurred photographs of packages (part learn of tests/bench/cull/pictures/photographs.txt).
constexpr double kTrustedFactor = 1.8;
constexpr double kBarelyBetter = 1.8, kFarBetter = 2.2;
constexpr double kRoundFactor = 1.4;  // widths of round blurs have no nulls to hold on to
// The rings of a lens out of focus leave so much less unexplained than a Gaussian does.
constexpr double kClearlyBetter = 0.8;
constexpr double kManyEdges = 300, kNarrowestEdge_px = 0.6, kOneWidth = 1.3;
// Edges whose quartiles lie so close together as those of a chart (noise and the raster alone spread them)
// are believed entirely.
constexpr double kChartLike = 1.13, kLeastShareOfEdges = 0.4;
constexpr double kEdgesThatDeny = 2000, kLeastDenied_px = 4.5, kCrispShare = 0.6, kLeastDrawn = 1.25;

/// Width of a blur that is the same in all directions, as the better of two shapes explains it.
double round_sigma(const SpectrumFits& fits) {
  if (fits.disc.cost < kClearlyBetter * fits.gaussian.cost)
    return std::hypot(std::sqrt(fits.disc.variance_px2), fits.disc.length_px / 2);
  return std::sqrt(fits.gaussian.variance_px2);
}

struct EdgeAnswer {
  double sigma_px;
  double even;  ///< 0..1: 1 where all have one width
};

/// Width of the edges where they are many and of one width, as those of buildings, ponds and paths are; grass
/// or gravel has edges of all widths.
std::optional<EdgeAnswer> like_edges(const EdgeHistogram& edges) {
  const double low = edges.quantile(0.25), high = edges.quantile(0.75);
  if (edges.count() < kManyEdges || low < kNarrowestEdge_px || high > kOneWidth * low) return std::nullopt;
  return EdgeAnswer{edges.quantile(0.5),
                    1 - std::clamp((high / low - kChartLike) / (kOneWidth - kChartLike), 0.0, 1.0)};
}

/// Many crisp edges whose gradient lies along a smear deny it: uneven scenes (courses of bricks, furrows,
/// ripples) can look like one in the spectrum. A blur of one width along and across is round. A smear of L px
/// widens what it crosses to at least 0.95 + 0.065 L as edges are measured: read off by eye from one brick
/// wall smeared by 5 to 12 px, no fit.
bool edges_deny(const SpectrumFit& smear, const EdgeHistogram& edges) {
  const double across_rad = smear.direction_rad + std::numbers::pi / 2;
  if (smear.length_px < kLeastDenied_px || edges.count(smear.direction_rad) < kEdgesThatDeny) return false;
  const double across_px = edges.quantile(0.5, across_rad);
  const bool round = across_px > kNarrowestEdge_px && edges.count(across_rad) > kEdgesThatDeny &&
                     edges.quantile(0.5, smear.direction_rad) < kLeastDrawn * across_px;
  return round || edges.quantile(0.5, smear.direction_rad) < kCrispShare * (0.95 + 0.065 * smear.length_px);
}

bool agree(double a, double b, double factor) {
  return std::abs(std::log(std::max(a, 1e-3) / b)) < std::log(factor);
}

/// The network's length and width of the smear, moved to those of the nulls as far as these are believed; the
/// width as far as there is a smear at all.
void lean_on_nulls(const SpectrumFits& fits, BlurEstimate& blur) {
  const double better = fits.gaussian.cost / std::max(1e-3, fits.smear.cost);
  const double clear =
      std::clamp(std::log(better / kBarelyBetter) / std::log(kFarBetter / kBarelyBetter), 0.0, 1.0);
  const double length_px = std::max(fits.smear.length_px, 1e-3),
               widest_px = std::hypot(blur.sigma_px, length_px / std::sqrt(12.0));
  const double trust = agree(length_px, blur.smear_px, kTrustedFactor) ? 1 : clear;
  blur.smear_px *= std::pow(length_px / blur.smear_px, trust);
  blur.widest_px *= std::pow(widest_px / blur.widest_px, clear / (1 + std::exp(-blur.log_odds_smeared)));
}

}  // namespace

DirectedWidth coarse_blur(const DirectionBands& bands) {
  std::array<double, kAxes> widths{};
  for (int k = 0; k < kAxes; ++k)
    widths[k] = std::exp(directional_width_network().evaluate(directional_features(bands, k))[0]);
  return directed_width(widths);
}

BlurEstimate estimate_blur(const MeanSpectrum& mean, const std::vector<DirectedWidth>& regions) {
  const DirectionBands bands = direction_bands(mean.log_periodogram);
  const DirectedWidth start = coarse_blur(bands);
  const SpectrumContext context{mean.tiles, mean.middle_over_noise};
  const Eigen::VectorXf first = whole_network().evaluate(whole_features(bands, context, start));
  const SpectrumFits fits = fit_shapes(samples_of(mean.wide_log_periodogram));
  const Eigen::VectorXf out =
      evidence_network().evaluate(evidence_features(first, context, start, fits, mean.edges, regions));

  BlurEstimate blur;
  blur.smear_fit = fits.smear;
  blur.log_odds_blurred = out[kLogOddsBlurred];
  blur.sigma_px = std::exp(out[kLogNarrowest]);
  blur.widest_px = std::exp(out[kLogWidest]);
  // Laplace scale b has the standard deviation sqrt(2) b.
  blur.spread = std::numbers::sqrt2 * std::exp(out[kLogWidestSpread]);
  blur.log_odds_smeared = out[kLogOddsSmeared];
  blur.smear_px = blur.learnt_smear_px = std::exp(out[kLogSmear]);
  if (blur.log_odds_smeared > 0 && edges_deny(fits.smear, mean.edges)) {
    blur.log_odds_smeared = -blur.log_odds_smeared;
    if (!like_edges(mean.edges)) blur.log_odds_blurred = -std::abs(blur.log_odds_blurred);
  }
  lean_on_nulls(fits, blur);
  if (const double fitted_px = round_sigma(fits);
      blur.log_odds_smeared < 0 && agree(fitted_px, blur.sigma_px, kRoundFactor)) {
    const double factor = std::sqrt(fitted_px / blur.sigma_px);
    blur.sigma_px *= factor;
    blur.widest_px *= factor;
  }
  if (const auto edge = like_edges(mean.edges); edge && blur.log_odds_smeared < 0) {
    const double factor = std::pow(edge->sigma_px / std::sqrt(blur.sigma_px * blur.widest_px),
                                   kLeastShareOfEdges + (1 - kLeastShareOfEdges) * edge->even);
    blur.edges_settle = edge->even;
    blur.sigma_px *= factor;
    blur.widest_px *= factor;
  }
  const double degrees = std::fmod(fits.smear.direction_rad / kDegree, 180.0);
  blur.smear_deg = degrees < 0 ? degrees + 180 : degrees;
  return blur;
}

}  // namespace lookdown::cull
