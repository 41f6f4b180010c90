// The midst of a glitter field, where glints run into each other until white outweighs dark: neither specks
// nor smooth water can be told there, but the rim of the field tells both. Private to the stage.
#pragma once

#include <functional>
#include <opencv2/core.hpp>
#include <vector>

#include "stages/glare/water/look.h"
#include "stages/glare/water/patches.h"
#include "stages/glare/water/usual_look.h"

namespace lookdown::glare {

/// Where a field of specks goes on beyond what a single speck shows: CV_8UC1, 0 or 255, half the working
/// size. Tiles that the usual look takes for glitter, as far as they hang together with some of which it is
/// sure and lie in or beside `water` (same type and size), or are too large to be anything else; places where
/// `specks` (same: places with many of them) lie on water and dense glitter, and what they grow into, tile by
/// tile, of as strong a contrast over a dark side of the water's colour. Within about a tile its outline
/// follows the borders of `patches`, those of the picture. Of it what looks like the frame's own land is left
/// out; `looks`, of the patches, are asked for where there is a field.
[[nodiscard]] cv::Mat glitter_field(const UsualLook&, const Patches& patches,
                                    const std::function<std::vector<Look>()>& looks, const cv::Mat& water,
                                    const cv::Mat& specks);

}  // namespace lookdown::glare
