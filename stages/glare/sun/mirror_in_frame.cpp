#include "stages/glare/sun/mirror_in_frame.h"

#include <Eigen/Geometry>
#include <cmath>
#include <opencv2/imgproc.hpp>

#include "pipeline/base/angles.h"
#include "stages/glare/sun/sun_from_glint.h"

namespace lookdown::glare {
namespace {

// Where flat facets mirror the sun, white outweighs dark; flecks, crust and boats gather to less.
constexpr double kLeastPeak = 0.5;
// Of the spread of the glitter, one axis: a frame holds few of the longest waves, and water that was not
// found takes a part of the glitter away. Root mean square over the flights that this was made on.
constexpr double kMiddleOfSpread = 0.33;

// The heading is any: a frame alone does not know it.
Pose pose_with_down(const Eigen::Vector3d& down) {
  const Eigen::Vector3d up = -down, x = (Eigen::Vector3d::UnitX() - down.x() * down).normalized();
  Pose pose;
  pose.world_from_camera << x.transpose(), up.cross(x).transpose(), up.transpose();
  return pose;
}

SearchedFrame reduced(const FrameMasks& masks) {
  const cv::Size working = working_size(masks.water.size()),
                 size(std::max(1, working.width / 2), std::max(1, working.height / 2));
  SearchedFrame frame;
  cv::resize(masks.water, frame.water, size, 0, 0, cv::INTER_AREA);
  cv::resize(masks.glare, frame.glint, size, 0, 0, cv::INTER_AREA);
  return frame;
}

bool in_frame(const Eigen::Vector3d& ray, const Camera& camera) {
  if (ray.z() <= 1e-9) return false;
  const double x = camera.fx_px * ray.x() / ray.z() + camera.cx_px,
               y = camera.fy_px * ray.y() / ray.z() + camera.cy_px;
  return x >= 0 && y >= 0 && x < camera.width_px && y < camera.height_px;
}

}  // namespace

std::optional<MirrorPoint> mirror_in_frame(const FrameMasks& masks, const Camera& camera,
                                           const std::optional<Tilt>& tilt) {
  constexpr double kLeastGlint = 2e-4;  // of the frame: some dozens of specks
  if (camera.fx_px <= 0 ||
      cv::countNonZero(masks.glare) < kLeastGlint * static_cast<double>(masks.glare.total()))
    return std::nullopt;
  const Pose pose =
      pose_with_down(tilt ? Eigen::Map<const Eigen::Vector3d>(tilt->down_in_camera.data()).eval()
                          : Eigen::Vector3d::UnitZ().eval());
  SkySearch coarse;
  coarse.step_deg = 8;
  coarse.direction_step = 0.04;
  coarse.least_evidence = 9;
  const auto sun = sun_from_glint(glint_samples(reduced(masks), {camera, {}, pose}), coarse);
  if (!sun || sun->peak_rate < kLeastPeak) return std::nullopt;
  const double spread_rad =
      std::sqrt(2 * sun->mean_square_slope);  // a view turns by twice what its facet does
  const double sigma_rad = std::hypot(sun->sigma_rad, kMiddleOfSpread * spread_rad);
  if (sigma_rad > kMostMirrorSigmaDeg * kDegree) return std::nullopt;
  const Eigen::Vector3d toward = pose.world_from_camera.transpose() *
                                 Eigen::Vector3d(sun->to_sun.x(), sun->to_sun.y(), -sun->to_sun.z());
  if (!in_frame(toward, camera)) return std::nullopt;
  return MirrorPoint{{toward.x(), toward.y(), toward.z()}, sigma_rad / kDegree};
}

}  // namespace lookdown::glare
