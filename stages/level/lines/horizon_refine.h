// Sub-pixel horizon: edge points across a first line, fitted robustly in undistorted coordinates.
#pragma once

#include <Eigen/Core>
#include <opencv2/core.hpp>
#include <optional>
#include <vector>

#include "pipeline/geometry/camera.h"
#include "stages/level/search/horizon_evidence.h"

namespace lookdown::level {

/// A line fitted to edge points.
struct RefinedLine {
  Eigen::Vector3d
      line;  ///< a x + b y + c = 0, unit normal to the sky, undistorted pixels of the picture given
  LineSupport support;
  double angle_sigma_rad = 0;  ///< from the scatter of the edge points, with their correlation along the line
  double offset_sigma_px = 0;  ///< at the middle of the line
  double scatter_px = 0;       ///< spread of the edge points about the line
  double waviness_px = 0;      ///< slow waviness of the edge about the line: hills, tree lines
};

/// `blurred` is 8-bit and lightly smoothed, `camera` is at its size. For each of `firsts` the strongest
/// straight edge within reach_px is taken, then the skyline about it, from afar first and from close by. Each
/// line once; none where fewer than 12 profiles see it.
[[nodiscard]] std::vector<RefinedLine> refine_skyline(const cv::Mat3b& blurred, const Camera& camera,
                                                      const std::vector<Eigen::Vector3d>& firsts,
                                                      double reach_px);

/// The ridge behind `ridge`: a fainter edge on its sky side that steps its way, up to an eighth of the long
/// side above it. In haze what stands farther is nearer to the colour of the sky at the horizon
/// (Koschmieder's law), so that neither the strongest edge nor the first that leaves the sky need be it.
/// Where `ridge` hides it the rest must tell. None where too few of the profiles that it could be seen at
/// show it.
[[nodiscard]] std::optional<RefinedLine> refine_behind(const cv::Mat3b& blurred, const Camera& camera,
                                                       const Eigen::Vector3d& ridge);

/// Lines near any of `firsts` whose edge is straight and goes the same way all along, however weak: a sea
/// horizon in haze, a far shore below hills. Each once.
[[nodiscard]] std::vector<RefinedLine> refine_straight(const cv::Mat3b& blurred, const Camera& camera,
                                                       const std::vector<Eigen::Vector3d>& firsts);

}  // namespace lookdown::level
