// Small operations on whole planes that several features share. Private to the stage.
#pragma once

#include <opencv2/core.hpp>

namespace lookdown::glare {

/// Two box filters that together spread by about `sigma_px` (edges reflected).
[[nodiscard]] cv::Mat blurred(const cv::Mat& plane, double sigma_px);
/// Half size by averaging.
[[nodiscard]] cv::Mat halved(const cv::Mat& plane);

}  // namespace lookdown::glare
