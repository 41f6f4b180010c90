#include "stages/cull/blur/region_bands.h"

#include <algorithm>

namespace lookdown::cull {
namespace {

constexpr int kFewestTiles = 3;
constexpr double kSharpestTiles = 0.5;  // of a region's tiles

/// A part of a frame may be soft by nature, as water, sand or grass; only where contrast is strong does a
/// lack of fine detail speak of blur.
bool rich(const TileSpectrum& tile, double noise_power) {
  return tile.middle_power > std::max(60.0, 40 * noise_power);
}

}  // namespace

std::vector<RegionBands> region_bands(const std::vector<TileSpectrum>& spectra, double noise_power,
                                      const RegionGrid& regions) {
  std::vector<std::vector<const TileSpectrum*>> inside(static_cast<std::size_t>(regions.columns) *
                                                       regions.rows);
  for (const TileSpectrum& tile : spectra)
    if (rich(tile, noise_power)) inside[regions.index_of(tile.where)].push_back(&tile);
  std::vector<RegionBands> out;
  for (std::size_t i = 0; i < inside.size(); ++i) {
    const MeanSpectrum mean = mean_spectrum(inside[i], noise_power, kSharpestTiles);
    RegionBands region{static_cast<int>(i) % regions.columns, static_cast<int>(i) / regions.columns,
                       mean.tiles_with_detail, std::nullopt};
    if (mean.tiles_with_detail >= kFewestTiles) region.bands = direction_bands(mean.log_periodogram);
    out.push_back(region);
  }
  return out;
}

}  // namespace lookdown::cull
