// What stands off the plane shows at another place in every frame, as what passes does; but all frames show
// it, each where its height puts it.
#pragma once

#include <opencv2/core.hpp>
#include <vector>

#include "stages/mosaic/overview/overview.h"

namespace lookdown::mosaic {

/// Takes out of `alone` (CV_8UC1 over the box of the survey's frame `view`, 255 where that frame stands
/// alone) each piece that other frames show again where it would be at one height over the plane: crowns of
/// trees, huts, cars. Half of the frames that could tell must show it. `views` are parallel to the survey's
/// frames.
void spare_standing_things(const Survey&, const std::vector<FrameView>& views, std::size_t view,
                           cv::Mat& alone);

}  // namespace lookdown::mosaic
