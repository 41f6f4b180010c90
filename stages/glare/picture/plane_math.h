// Small operations on whole planes that several features share. Private to the stage.
#pragma once

#include <opencv2/core.hpp>
#include <opencv2/imgproc.hpp>

namespace lookdown::glare {

/// Two box filters that together spread by about `sigma_px` (edges reflected).
[[nodiscard]] cv::Mat blurred(const cv::Mat& plane, double sigma_px);
/// CIE L*a*b* (CV_32FC3) of CV_8UC3.
[[nodiscard]] cv::Mat lab_of(const cv::Mat& bgr);
/// Half size by averaging.
[[nodiscard]] cv::Mat halved(const cv::Mat& plane);

/// A mask (CV_8UC1, 0 to 255) as shares, CV_32FC1, 0 to 1.
[[nodiscard]] cv::Mat shares_of_mask(const cv::Mat& mask);

/// The plane stretched to `size`.
[[nodiscard]] cv::Mat at_size(const cv::Mat& plane, cv::Size size, int interpolation = cv::INTER_LINEAR);

}  // namespace lookdown::glare
