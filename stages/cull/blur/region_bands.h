// Spectra of the parts of a frame: a frame blurred in one half shows here, and no blur of the whole leaves a
// part out.
#pragma once

#include <optional>
#include <vector>

#include "stages/cull/blur/blur_features.h"
#include "stages/cull/spectrum/tile_sampling.h"

namespace lookdown::cull {

struct RegionBands {
  int column = 0, row = 0;
  int tiles_with_detail = 0;
  std::optional<DirectionBands> bands;  ///< empty where too few of the tiles are rich in contrast
};

/// Row by row. `noise_power`: floor of the whole frame, grey levels squared.
[[nodiscard]] std::vector<RegionBands> region_bands(const std::vector<TileSpectrum>&, double noise_power,
                                                    const RegionGrid&);

}  // namespace lookdown::cull
