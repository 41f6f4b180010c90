#include <algorithm>
#include <cmath>
#include <opencv2/core.hpp>

#include "stages/cull/blur_estimate.h"
#include "stages/cull/cull.h"
#include "stages/cull/exposure.h"
#include "stages/cull/frame_parts.h"
#include "stages/cull/signature.h"

namespace lookdown::cull {
namespace {

constexpr double kFwhmOfSigma = 2.354820045;  // 2 sqrt(2 ln 2), of a Gaussian
constexpr int kRegionsLongSide = 4;
// Tiles with detail that make the evidence complete; a quarter of them is the least that an answer is given for.
constexpr double kTilesForSurety = 12;
constexpr int kLeastTilesOfRegion = 3;

/// Odds and width say the same in two ways: the odds see best where sharp ends and blurred begins, the width orders what lies beyond.
double blur_score(const BlurEstimate& blur) {
  return 1.5 * std::log(blur.widest_px) + 0.5 * std::clamp(blur.log_odds_blurred, -6.0, 6.0);
}

void note_blur(const BlurEstimate& blur, Sharpness& out) {
  const bool smeared = blur.log_odds_smeared > 0;
  // Without a smear both widths estimate the same blur, and the narrower one does not mistake noise for a smear.
  const double sigma_px = smeared ? blur.widest_px : std::sqrt(blur.widest_px * blur.sigma_px);
  out.sharpness = 1 / (1 + std::exp(blur_score(blur)));
  out.blur_fwhm_px = kFwhmOfSigma * sigma_px;
  out.blur_sigma_share = blur.spread;
  out.smear_px = smeared ? blur.smear_px : 0;
  if (smeared) out.smear_deg = blur.smear_deg;
}

/// A part of a frame may be soft by nature, as water, sand or grass; only where contrast is strong does a lack of fine detail speak of blur.
bool rich(const TileSpectrum& tile, double noise_power) { return tile.middle_power > std::max(60.0, 40 * noise_power); }

int region_of(int centre_px, int length_px, int regions) { return std::clamp(centre_px * regions / length_px, 0, regions - 1); }

/// Blur by region from the tiles that lie in it: a frame half blurred shows here.
void measure_regions(const std::vector<TileSpectrum>& spectra, const MeanSpectrum& whole, const cv::Size& frame, Sharpness& out) {
  const bool wide = frame.width >= frame.height;
  const double long_side = std::max(frame.width, frame.height), short_side = std::min(frame.width, frame.height);
  const int regions_short = std::max(1, static_cast<int>(std::lround(kRegionsLongSide * short_side / long_side)));
  out.tile_columns = wide ? kRegionsLongSide : regions_short;
  out.tile_rows = wide ? regions_short : kRegionsLongSide;
  for (int row = 0; row < out.tile_rows; ++row)
    for (int column = 0; column < out.tile_columns; ++column) {
      std::vector<const TileSpectrum*> inside;
      for (const TileSpectrum& tile : spectra)
        if (region_of(tile.where.x + tile.where.width / 2, frame.width, out.tile_columns) == column &&
            region_of(tile.where.y + tile.where.height / 2, frame.height, out.tile_rows) == row && rich(tile, whole.noise_power))
          inside.push_back(&tile);
      const MeanSpectrum mean = mean_spectrum(inside, whole.noise_power, 0.5);
      TileBlur region{column, row, std::nullopt, std::min(1.0, mean.tiles_with_detail / kTilesForSurety)};
      if (mean.tiles_with_detail >= kLeastTilesOfRegion) region.blur_fwhm_px = kFwhmOfSigma * coarse_blur(direction_bands(mean.log_power)).widest_px;
      out.tiles.push_back(region);
    }
}

}  // namespace

Sharpness measure(FramePixels& pixels, const FrameInfo&, const Options&) {
  Sharpness out;
  const FrameParts parts = read_parts(pixels);
  measure_exposure(parts.overview, out);
  out.signature = make_signature(parts.overview);

  std::vector<TileSpectrum> spectra;
  for (const FrameTile& tile : parts.tiles) spectra.push_back(tile_spectrum(tile.grey, tile.where));
  const MeanSpectrum mean = mean_spectrum(spectra);
  out.detail = std::min(1.0, mean.tiles_with_detail / kTilesForSurety);
  measure_regions(spectra, mean, {pixels.source().width_px, pixels.source().height_px}, out);
  if (out.detail >= kLeastDetail) note_blur(estimate_blur(mean), out);
  return out;
}

}  // namespace lookdown::cull
