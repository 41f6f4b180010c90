#include <algorithm>
#include <cmath>
#include <numbers>
#include <opencv2/core.hpp>
#include <optional>
#include <vector>

#include "pipeline/base/angles.h"
#include "stages/cull/blur/blur_estimate.h"
#include "stages/cull/blur/high_frequency_residue.h"
#include "stages/cull/blur/region_bands.h"
#include "stages/cull/blur/rotational_blur.h"
#include "stages/cull/blur_limits.h"
#include "stages/cull/cull.h"
#include "stages/cull/duplicates/thumbnail.h"
#include "stages/cull/exposure.h"
#include "stages/cull/spectrum/tile_sampling.h"

namespace lookdown::cull {
namespace {

// Tiles with detail that make the evidence complete; a quarter of them is the least that an answer is given
// for.
constexpr double kTilesForSurety = 12;
constexpr double kContradicts = 1.6;  // ratio of widths beyond which two answers are not the same blur
constexpr double kNoPartSharp = 2.5;
constexpr double kSharpParts_px = 2.6;
constexpr double kShareOfWhole = 0.7;
constexpr double kHeavyBlur_px = 4.5;
constexpr double kMostOdds = 6;
constexpr double kLongEnough_px = 4;    // smears whose change over the frame is looked at
constexpr double kScoreWidth_px = 2.0;  // width at which the score is neutral
// Logarithm of the width (px at half maximum) that so little detail goes with: rendered flights with widths
// from 4.5 to 13 px lie below this line, the four blurred pictures of opencv-doc and scikit-image, blurred
// further, about it.
constexpr double kWidthOfNoDetail = 0.4, kWidthByDetail = -0.55;
constexpr double kVeryHeavyBlur_px = 5.5;

/// Width (full, at half maximum) of the second-sharpest part, or of the only one: what a few sharp things in
/// a soft scene show.
std::optional<double> sharpest_parts(const Sharpness& s) {
  std::vector<double> widths;
  for (const TileBlur& tile : s.tiles)
    if (tile.blur_fwhm_px) widths.push_back(*tile.blur_fwhm_px);
  if (widths.empty()) return std::nullopt;
  std::sort(widths.begin(), widths.end());
  return widths[std::min<std::size_t>(1, widths.size() - 1)];
}

/// Sharp parts in a frame that looks blurred as a whole: they are believed, for no blur leaves a part out,
/// while ripples, ribs or glitter can pass for a smear of the whole.
bool contradicted(double whole_px, std::optional<double> parts_px) {
  return parts_px && *parts_px < kSharpParts_px && whole_px > kContradicts * *parts_px;
}

/// The whole and its sharpest parts measure the same blur and are averaged, the whole counting more, the more
/// so as its edges settle the matter.
double fused_width(double whole_px, std::optional<double> parts_px, double edges_settle) {
  if (!parts_px) return whole_px;
  if (contradicted(whole_px, parts_px)) return *parts_px;
  if (whole_px > kHeavyBlur_px) return whole_px;
  // No part is nearly as sharp as the whole is said to be: both are doubtful.
  const double of_parts = *parts_px > kNoPartSharp * whole_px ? 0.5 : 1 - kShareOfWhole;
  const double held_px =
      *parts_px > kNoPartSharp * whole_px ? *parts_px : std::min(*parts_px, kContradicts * whole_px);
  return whole_px * std::pow(held_px / whole_px, of_parts * (1 - edges_settle));
}

/// Logarithm of the width that orders heavy blurs. Their widths are known so poorly that a further blur can
/// make them look narrower; detail that is left never grows by it.
double heavy_width(double fused_px, double detail) {
  const double heavy =
      1 - std::clamp((kVeryHeavyBlur_px - fused_px) / (kVeryHeavyBlur_px - kHeavyBlur_px), 0.0, 1.0);
  return std::log(fused_px) +
         heavy * std::max(0.0, kWidthOfNoDetail + kWidthByDetail * detail - std::log(fused_px));
}

/// Odds and widths say the same in three ways: the odds see best where sharp ends and blurred begins, the
/// widths order what lies beyond. The parts have a say only near that border: of heavy blur they hold too
/// little detail to measure it.
double blur_score(const BlurEstimate& blur, double fused_px, std::optional<double> parts_px, double detail) {
  const double near_border = std::clamp((kHeavyBlur_px - fused_px) / 2, 0.0, 1.0);
  const double parts = std::log(parts_px.value_or(fused_px) / kScoreWidth_px),
               whole = heavy_width(fused_px, detail) - std::log(kScoreWidth_px);
  // Beyond the border the odds are sure and waver only by chance; the width alone orders heavy blurs.
  const double odds =
      near_border * std::clamp(blur.log_odds_blurred, -kMostOdds, kMostOdds) + (1 - near_border) * kMostOdds;
  return 0.25 * odds + whole + near_border * parts + (1 - near_border) * whole;
}

/// Width of the whole, in pixels at half maximum. Without a smear both widths estimate the same blur, and the
/// narrower one does not mistake noise for a smear; with one, its length from the nulls and the width that
/// was learnt are averaged. Between the two the odds of a smear lead over, so that a growing blur never
/// jumps.
double whole_width(const BlurEstimate& blur) {
  // Edges of one width, whatever their direction, leave no room for a smear.
  const double smeared = (1 - blur.edges_settle) / (1 + std::exp(-blur.log_odds_smeared));
  const double round = 0.5 * (std::log(blur.widest_px) + std::log(blur.sigma_px));
  const double drawn =
      0.5 * (std::log(blur.widest_px) + std::log(std::hypot(blur.sigma_px, blur.smear_px / std::sqrt(12.0))));
  return kFwhmOfSigma * std::exp(smeared * drawn + (1 - smeared) * round);
}

void note_blur(const BlurEstimate& blur, double detail, Sharpness& out) {
  const std::optional<double> parts_px = sharpest_parts(out);
  bool smeared = blur.log_odds_smeared > 0;
  const double whole_px = whole_width(blur);
  const double width_px = fused_width(whole_px, parts_px, blur.edges_settle);
  smeared = smeared && !contradicted(whole_px, parts_px);
  out.sharpness_alone = 1 / (1 + std::exp(blur_score(blur, width_px, parts_px, detail)));
  out.sharpness = out.sharpness_alone;
  out.blur_fwhm_px = width_px;
  out.blur_sigma_share = blur.spread;
  out.smear_px = smeared ? blur.smear_px : 0;
  if (smeared) out.smear_deg = blur.smear_deg;
}

/// Blur by region; returns the widths of those that tell.
std::vector<DirectedWidth> measure_regions(const std::vector<RegionBands>& regions, const RegionGrid& grid,
                                           Sharpness& out) {
  out.tile_columns = grid.columns;
  out.tile_rows = grid.rows;
  std::vector<DirectedWidth> widths;
  for (const RegionBands& region : regions) {
    TileBlur tile{region.column, region.row, std::nullopt,
                  std::min(1.0, region.tiles_with_detail / kTilesForSurety)};
    if (region.bands) {
      widths.push_back(coarse_blur(*region.bands));
      tile.blur_fwhm_px = kFwhmOfSigma * widths.back().widest_px;
    }
    out.tiles.push_back(tile);
  }
  return widths;
}

/// Where the smear changes over the frame, its length and direction in the middle.
void note_turn(const std::vector<TileSpectrum>& spectra, const MeanSpectrum& mean, const cv::Size& frame,
               const SpectrumFit& smear, Sharpness& out) {
  const auto turning = rotational_blur(spectra, region_grid(frame), mean.noise_power, smear);
  if (!turning) return;
  out.smear_px = turning->length_px;
  out.smear_deg = std::fmod(turning->direction_rad / kDegree + 360, 180.0);
}

}  // namespace

Sharpness measure(FramePixels& pixels, cv::Mat* overview) {
  Sharpness out;
  const TileSample parts = sample_tiles(pixels);
  if (overview) *overview = parts.overview;
  measure_exposure(parts.overview, out);
  out.signature = make_thumbnail(parts.overview);

  std::vector<TileSpectrum> spectra;
  for (const SampledTile& tile : parts.tiles) spectra.push_back(tile_spectrum(tile.grey, tile.where));
  const MeanSpectrum mean = mean_spectrum(spectra);
  out.detail = std::min(1.0, mean.tiles_with_detail / kTilesForSurety);
  const RegionGrid grid = region_grid({pixels.source().width_px, pixels.source().height_px});
  const std::vector<DirectedWidth> regions =
      measure_regions(region_bands(spectra, mean.noise_power, grid), grid, out);
  if (out.detail < kLeastDetail) return out;
  const BlurEstimate blur = estimate_blur(mean, regions);
  note_blur(blur, high_frequency_residue(spectra, parts.overview), out);
  if (out.smear_px.value_or(0) > kLongEnough_px) {
    // Where the smear turns, the nulls of all tiles together blur into those of too short a length.
    SpectrumFit near = blur.smear_fit;
    near.length_px = std::max(blur.smear_px, blur.learnt_smear_px);
    note_turn(spectra, mean, {pixels.source().width_px, pixels.source().height_px}, near, out);
  }
  return out;
}

}  // namespace lookdown::cull
