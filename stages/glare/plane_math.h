// Small operations on whole planes that several features share. Private to the stage.
#pragma once

#include <opencv2/core.hpp>

namespace lookdown::glare {

/// Two box filters that together spread by about `sigma_px` (edges reflected).
[[nodiscard]] cv::Mat blurred(const cv::Mat& plane, double sigma_px);
/// log(plane + 0.004): the floor is about one step of an 8-bit level in linear light near black.
[[nodiscard]] cv::Mat log_of(const cv::Mat& plane);
/// Share `quantile` (0..1) of a plane sampled on a grid.
[[nodiscard]] double quantile_of(const cv::Mat& plane, double quantile);
/// Mean size of the difference of two scales over a neighbourhood, as a logarithm.
[[nodiscard]] cv::Mat detail(const cv::Mat& fine, const cv::Mat& coarse, double over_px);
/// Half size by averaging.
[[nodiscard]] cv::Mat halved(const cv::Mat& plane);

}  // namespace lookdown::glare
