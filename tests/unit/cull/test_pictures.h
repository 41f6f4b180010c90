// Pictures for the tests of the cull: made from random numbers and blurred by known kernels.
#pragma once

#include <filesystem>
#include <opencv2/core.hpp>

#include "stages/cull/cull.h"

namespace lookdown::test {

/// Opaque discs of many sizes on each other: edges in all directions, limited by the pixels. CV_32FC1, levels
/// 0..255.
[[nodiscard]] cv::Mat dead_leaves(const cv::Size&, unsigned seed);
/// Uniform line kernel; direction counter-clockwise from +x, y up.
[[nodiscard]] cv::Mat line_kernel(double length_px, double direction_deg);
[[nodiscard]] cv::Mat gaussian(const cv::Mat&, double sigma_px);
[[nodiscard]] cv::Mat smeared(const cv::Mat&, double length_px, double direction_deg);
/// White noise of the given standard deviation added.
[[nodiscard]] cv::Mat noisy(const cv::Mat&, double sigma_levels, unsigned seed);

/// The picture as a file, measured. Any 1- or 3-channel picture, rounded to 8 bits.
[[nodiscard]] Sharpness measured(const cv::Mat& picture, const char* extension = ".png");
[[nodiscard]] FrameRecord record_of(const cv::Mat& picture, const std::string& name);

}  // namespace lookdown::test
