// The search in one picture, on plain matrices: what `find` does between reading pixels and writing masks.
// Private to the stage (and to its tests and benchmarks).
#pragma once

#include <opencv2/core.hpp>

#include "stages/glare/glint/sun_glint.h"
#include "stages/glare/picture/working_picture.h"
#include "stages/glare/water/water_surface.h"

namespace lookdown::glare {

struct SearchResult {
  cv::Mat water_log_odds;  ///< CV_32FC1, half the working size
  cv::Mat water;           ///< CV_8UC1, 0 or 255, half the working size
  cv::Mat water_leaving;   ///< CV_32FC1, luminance from below the surface, half the working size
  Glint glint;
};
[[nodiscard]] SearchResult search_picture(const WorkingPicture&, const GlintPrior& prior = {});

}  // namespace lookdown::glare
