// The mosaic for a slide or a letter: the largest rectangle without a hole, nothing drawn into it.
#pragma once

#include <opencv2/core.hpp>

namespace lookdown::mosaic {

/// The largest upright rectangle whose pixels are all covered (`alpha` CV_8U, 255 = covered); of several as
/// large the first from the top, then from the left. Empty where nothing is covered. Linear in the pixels.
[[nodiscard]] cv::Rect largest_covered_rectangle(const cv::Mat& alpha);

}  // namespace lookdown::mosaic
