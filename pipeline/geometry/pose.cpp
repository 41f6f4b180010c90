#include "pipeline/geometry/pose.h"

#include <Eigen/Geometry>
#include <algorithm>
#include <cmath>
#include <numbers>

#include "pipeline/base/angles.h"

namespace lookdown {

Pose straight_down(const Eigen::Vector3d& centre, double heading_rad) {
  Pose pose;
  pose.centre = centre;
  const double s = std::sin(heading_rad), c = std::cos(heading_rad);
  // Columns: where camera x (right), y (down in the frame) and z (forward) point in the world.
  pose.world_from_camera.col(0) = Eigen::Vector3d(c, -s, 0);
  pose.world_from_camera.col(1) = Eigen::Vector3d(-s, -c, 0);
  pose.world_from_camera.col(2) = Eigen::Vector3d(0, 0, -1);
  return pose;
}

Point2<UndistortedPx> project(const Pose& pose, const Camera& camera, const Eigen::Vector3d& world,
                              double* depth) {
  const Eigen::Vector3d p = pose.world_from_camera.transpose() * (world - pose.centre);
  if (depth) *depth = p.z();
  return {camera.fx_px * p.x() / p.z() + camera.cx_px, camera.fy_px * p.y() / p.z() + camera.cy_px};
}

Homography<Ground, UndistortedPx> ground_from_frame(const Pose& pose, const Camera& camera,
                                                    double plane_height) {
  const Eigen::Matrix3d camera_from_world = pose.world_from_camera.transpose();
  Eigen::Matrix3d camera_from_ground;
  camera_from_ground.col(0) = camera_from_world.col(0);
  camera_from_ground.col(1) = camera_from_world.col(1);
  camera_from_ground.col(2) = camera_from_world * (Eigen::Vector3d(0, 0, plane_height) - pose.centre);
  const Eigen::Matrix3d frame_from_ground = camera.matrix() * camera_from_ground;
  return {frame_from_ground.inverse()};
}

double off_nadir_deg(const Pose& pose) {
  const double cosine = std::clamp(-pose.world_from_camera(2, 2), -1.0, 1.0);
  return std::acos(cosine) / kDegree;
}

Eigen::Vector3d down_in_camera(const Pose& pose) {
  return -pose.world_from_camera.row(2).transpose();
}

GroundSampleDistance ground_sample_distance(const Pose& pose, const Camera& camera, double plane_height) {
  const double cosine = -pose.world_from_camera(2, 2);
  const double height = pose.centre.z() - plane_height;
  const double straight = height / camera.fx_px;
  return {straight / (cosine * cosine), straight / cosine};
}

Eigen::Vector3d horizon_line(const Camera& camera, const Eigen::Vector3d& up_in_camera) {
  return camera.matrix().inverse().transpose() * up_in_camera;
}

}  // namespace lookdown
