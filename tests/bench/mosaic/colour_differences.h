// Differences of colour between two pictures on one grid.
#pragma once

#include <opencv2/core.hpp>

#include "tests/bench/mosaic/against_truth.h"

namespace lookdown::bench {

/// Of the mean colours of blocks of `block_px` pixels that lie wholly where `known` (CV_8UC1) is 255.
/// `mosaic` and `truth`: CV_8UC3, sRGB.
[[nodiscard]] Colour colour_differences(const cv::Mat& mosaic, const cv::Mat& truth, const cv::Mat& known,
                                        int block_px);

}  // namespace lookdown::bench
