// The midst of a glitter field, where glints run into each other until white outweighs dark: neither specks
// nor smooth water can be told there, but the rim of the field tells both. Private to the stage.
#pragma once

#include <opencv2/core.hpp>

#include "stages/glare/glint/glitter_tiles.h"
#include "stages/glare/water/patches.h"

namespace lookdown::glare {

/// Where a field of specks goes on beyond what a single speck shows: CV_8UC1, 0 or 255, half the working
/// size. It grows, tile by tile, from where `specks` (same type and size: places with many of them) lie on
/// `water` (same), and from dense glitter, into places with as strong a contrast of source-coloured light
/// over a dark side of the water's own colour; bands narrower than two tiles (stones, crust, boards along the
/// water) are not entered. Within about a tile its outline follows the borders of `patches`, those of the
/// picture.
[[nodiscard]] cv::Mat glitter_field(const GlitterTiles&, const Patches& patches, const cv::Mat& water,
                                    const cv::Mat& specks);

}  // namespace lookdown::glare
