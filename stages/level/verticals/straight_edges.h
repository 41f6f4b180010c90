// Straight edges of a frame as viewing-plane geometry.
#pragma once

#include <Eigen/Core>
#include <opencv2/core.hpp>
#include <vector>

#include "pipeline/geometry/camera.h"

namespace lookdown::level {

/// A straight edge in normalised undistorted coordinates (z = 1 plane of the camera).
struct StraightEdge {
  Eigen::Vector2d middle;     ///< of the edge
  Eigen::Vector2d direction;  ///< unit
  double length_px = 0;       ///< in pixels of the picture
};

/// Longest straight edges of an 8-bit grey picture whose camera is at its size, at most `most`, longest first
/// (line segment detector of von Gioi et al., IPOL 2:35, 2012, as OpenCV has it). Edges shorter than 2.5 % of
/// the long side are left out.
[[nodiscard]] std::vector<StraightEdge> straight_edges(const cv::Mat1b& grey, const Camera&,
                                                       std::size_t most);

}  // namespace lookdown::level
