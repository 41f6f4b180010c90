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
  double scatter_px = 0;       ///< spread of the edge points about the line
  double relief_px = 0;        ///< slow waviness of the edge about the line: hills, tree lines
};

/// `blurred` is 8-bit and lightly smoothed, `camera` is at its size. The strongest straight edge within
/// reach_px of `first` is taken, then the skyline about it, from afar first. How far: `skyline_reach_share`
/// of the long side; wide looks past a strip of far land, narrow keeps to the line where the sky itself
/// changes. Empty when the line leaves fewer than 12 stations.
[[nodiscard]] std::optional<RefinedLine> refine_line(const cv::Mat3b& blurred, const Camera& camera,
                                                     const Eigen::Vector3d& first, double reach_px,
                                                     double skyline_reach_share);

}  // namespace lookdown::level
