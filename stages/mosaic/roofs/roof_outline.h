// Where the sides of a rectangular roof lie, on the survey's cells.
#pragma once

#include <array>
#include <opencv2/core.hpp>

namespace lookdown::mosaic {

using Corners = std::array<cv::Point2d, 4>;

/// The smallest rectangle round the mask (CV_8UC1), its sides drawn in to where the mask fills half of them:
/// frayed cells outside a roof do not count.
[[nodiscard]] Corners trimmed_box(const cv::Mat& mask);

/// Moves each side, by up to `inward` cells inwards and a few outwards, to the sharpest step of brightness in
/// `mean` (CV_32FC1), the mean of the frames laid on the roof's height, in which only the roof is in
/// register.
[[nodiscard]] Corners fitted_to_edges(const cv::Mat& mean, Corners, double inward = 2.5);

/// True when brightness changes across every side, as it does where a roof ends; an outline that stops in the
/// middle of a roof has a side without.
[[nodiscard]] bool has_clear_sides(const cv::Mat& mean, const Corners&);

}  // namespace lookdown::mosaic
