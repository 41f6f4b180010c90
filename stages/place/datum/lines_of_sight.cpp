#include <Eigen/Cholesky>

#include <algorithm>
#include <cmath>

#include "stages/place/datum/datum_parts.h"

namespace lookdown::place {
namespace {

constexpr double kLeastRayAngleRad = 0.03;  ///< rays closer than this do not tell where they meet

struct LineOfSight {
  Eigen::Vector3d centre, ray;  // of the world; the ray is as long as Camera::ray makes it
};

// Nothing where the mark's frame is not of the group.
std::optional<LineOfSight> line_of_sight(const Mark& mark, const Group& group,
                                         const std::vector<TieFrame>& frames) {
  const int member = member_of(group, frames, mark.record);
  if (member < 0) return std::nullopt;
  const Camera& camera = group.network.camera_of(std::size_t(member));
  const Pose& pose = group.network.poses[std::size_t(member)];
  return LineOfSight{pose.centre, pose.world_from_camera * camera.ray(camera.undistort(mark.at))};
}

}  // namespace

std::optional<Eigen::Vector2d> found_position(const ControlPoint& point, double height, const Group& group,
                                              const std::vector<TieFrame>& frames, int* marks) {
  Eigen::Vector2d sum = Eigen::Vector2d::Zero();
  double weight = 0;
  int count = 0;
  for (const Mark& m : point.marks) {
    const auto seen = line_of_sight(m, group, frames);
    if (!seen || seen->ray.z() > -0.05) continue;
    const double range = (height - seen->centre.z()) / seen->ray.z();
    const double w = 1 / (range * range);  // a pixel is larger on the ground the farther it looks
    sum += w * (seen->centre + range * seen->ray).head<2>();
    weight += w;
    ++count;
  }
  if (marks != nullptr) *marks = count;
  if (count == 0) return std::nullopt;
  return Eigen::Vector2d(sum / weight);
}

std::optional<Eigen::Vector3d> found_in_space(const ControlPoint& point, const Group& group,
                                              const std::vector<TieFrame>& frames) {
  Eigen::Matrix3d sum = Eigen::Matrix3d::Zero();
  Eigen::Vector3d towards = Eigen::Vector3d::Zero(), first = Eigen::Vector3d::Zero();
  double widest = 1;
  int count = 0;
  for (const Mark& m : point.marks) {
    const auto seen = line_of_sight(m, group, frames);
    if (!seen) continue;
    const Eigen::Vector3d ray = seen->ray.normalized();
    const Eigen::Matrix3d across = Eigen::Matrix3d::Identity() - ray * ray.transpose();
    sum += across;
    towards += across * seen->centre;
    if (count++ == 0) first = ray;
    widest = std::min(widest, first.dot(ray));
  }
  if (count < 2 || widest > std::cos(kLeastRayAngleRad)) return std::nullopt;
  return Eigen::Vector3d(sum.ldlt().solve(towards));
}

}  // namespace lookdown::place
