// What waters usually look like, learned from made pictures of many colours, lights and cameras. Private to
// the stage (and its tests and benchmark).
#pragma once

#include <opencv2/core.hpp>

#include "stages/glare/water/look.h"

namespace lookdown::glare {

/// Log-odds of water by the look of each pixel's patch alone, CV_32FC1, size of the patches' labels; within
/// bounds: what was taught is a part of what there is, so that it helps to decide and never does alone.
[[nodiscard]] cv::Mat usual_log_odds(const SeenPatches&);

}  // namespace lookdown::glare
