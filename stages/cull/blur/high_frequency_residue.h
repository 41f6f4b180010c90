// How much fine detail a frame still holds, relative to its coarse contrast: orders heavy blurs of one scene,
// where widths can no longer be measured well.
#pragma once

#include <opencv2/core.hpp>
#include <vector>

#include "stages/cull/spectrum/log_periodogram.h"

namespace lookdown::cull {

/// Mean natural log power of all tiles from 0.03 to 0.25 cycles/px, over all directions alike, less the
/// logarithm of the variance of the frame reduced to 32 x 32. No selection of tiles: any further blur lowers
/// the power of each of them, so that the number falls whatever the scene. `overview`: CV_8UC3, the frame
/// reduced. At least one tile.
[[nodiscard]] double high_frequency_residue(const std::vector<TileSpectrum>&, const cv::Mat& overview);

}  // namespace lookdown::cull
