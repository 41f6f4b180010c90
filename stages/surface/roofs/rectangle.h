// Rectangular outlines of roofs.
#pragma once

#include <array>
#include <opencv2/core.hpp>
#include <vector>

namespace lookdown::surface {

using Corners = std::array<cv::Point2d, 4>;  ///< in order, nodes

/// What tells where a roof ends, over one grid of nodes.
struct RoofLook {
  std::vector<cv::Mat> views;  ///< CV_8UC1, each laid on the roof's height: its sides are in place in all of
                               ///< them, other edges in one at most; 0: nothing shown
  cv::Mat likeness;  ///< CV_32FC1, code values by which the views agree better on the roof than on the ground
};

/// Smallest rectangle round the mask (CV_8UC1, not empty).
[[nodiscard]] Corners box_round(const cv::Mat& mask);
/// Smallest one whose sides run as most edges do that the views show near the mask.
[[nodiscard]] Corners box_along_edges(const RoofLook&, const cv::Mat& mask);

/// Moves each side, by up to `reach` nodes either way and turned a little, to where the steps of brightness
/// along it are greatest in all views.
[[nodiscard]] Corners fitted(const RoofLook&, Corners, double reach);

/// Code values by which brightness changes across a side, mean of the views, strong steps cut: at the
/// faintest side, and the mean of all.
struct SideSteps {
  double faintest = 0, mean = 0;
};
[[nodiscard]] SideSteps steps_at(const RoofLook&, const Corners&);

/// CV_8UC1, 255 inside.
[[nodiscard]] cv::Mat filled(const Corners&, cv::Size);

}  // namespace lookdown::surface
