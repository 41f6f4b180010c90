// Sub-pixel horizon: edge points across a first line, fitted robustly in undistorted coordinates.
#pragma once

#include <Eigen/Core>
#include <opencv2/core.hpp>
#include <optional>
#include <vector>

#include "pipeline/camera.h"
#include "stages/level/horizon_evidence.h"

namespace lookdown::level {

/// A line fitted to edge points.
struct RefinedLine {
  Eigen::Vector3d
      line;  ///< a x + b y + c = 0, unit normal to the sky, undistorted pixels of the picture given
  LineSupport support;
  double angle_sigma_rad = 0;  ///< from the scatter of the edge points, with their correlation along the line
  double offset_sigma_px = 0;  ///< at the middle of the line
  double relief_px = 0;        ///< slow waviness of the edge about the line: hills, tree lines
};

/// `bgr` is 8-bit, `camera` is at its size, `first` is within about `reach_px` of the edge. Empty when the
/// line leaves fewer than 12 stations in the picture.
[[nodiscard]] std::optional<RefinedLine> refine_line(const cv::Mat3b& bgr, const Camera& camera,
                                                     const Eigen::Vector3d& first, double reach_px);

}  // namespace lookdown::level
