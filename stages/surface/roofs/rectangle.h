// Rectangular outlines of roofs.
#pragma once

#include <array>
#include <opencv2/core.hpp>

namespace lookdown::surface {

using Corners = std::array<cv::Point2d, 4>;  ///< in order, nodes

/// What tells where a roof ends, over one grid of nodes.
struct RoofLook {
  cv::Mat
      look;  ///< CV_8UC1, the views laid on the roof's height, in which its sides are steps; 0: nothing shown
  cv::Mat likeness;  ///< CV_32FC1, code values by which the views agree better on the roof than on the ground
};

/// Smallest rectangle round the mask (CV_8UC1, not empty).
[[nodiscard]] Corners box_round(const cv::Mat& mask);

/// Moves each side, by up to `reach` nodes either way and turned a little, to where the step of brightness
/// along it and what the views say on its both sides are greatest.
[[nodiscard]] Corners fitted(const RoofLook&, Corners, double reach);

/// Code values by which brightness changes across the side where it does so least.
[[nodiscard]] double faintest_side(const cv::Mat& look, const Corners&);

/// CV_8UC1, 255 inside.
[[nodiscard]] cv::Mat filled(const Corners&, cv::Size);

}  // namespace lookdown::surface
