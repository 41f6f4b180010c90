#include "stages/place/planes/ground_facet.h"

#include <Eigen/Cholesky>
#include <Eigen/LU>
#include <algorithm>
#include <cmath>

#include "pipeline/base/robust_statistics.h"

namespace lookdown::place {
namespace {

constexpr std::size_t kPointsOfFacet = 8;
constexpr int kPasses = 8;
/// A frame's ground as a whole is less steep than a dike's side; steeper says that a few points lie badly.
constexpr double kSteepest = 0.5;
/// Straight below the camera a height misplaces nothing; this share keeps such points from being free.
constexpr double kLeastTangent = 0.1;

}  // namespace

GroundFacet facet_under(const Network& network, int frame, const std::vector<const Sighting*>& sightings) {
  if (sightings.size() < kPointsOfFacet) return {};
  const Eigen::Vector3d centre = network.poses[std::size_t(frame)].centre;
  const auto point = [&](const Sighting* s) { return network.points[std::size_t(s->point)].position; };
  Eigen::Vector3d middle = Eigen::Vector3d::Zero();
  for (const Sighting* s : sightings) middle += point(s) / double(sightings.size());
  Eigen::Vector3d plane(0, 0, middle.z());
  double width = 1e30;
  std::vector<double> off(sightings.size());
  for (int pass = 0; pass < kPasses; ++pass) {
    Eigen::Matrix3d normal = Eigen::Matrix3d::Zero();
    Eigen::Vector3d right = Eigen::Vector3d::Zero();
    double scale = 0;
    for (std::size_t i = 0; i < sightings.size(); ++i) {
      const Eigen::Vector3d p = point(sightings[i]);
      const Eigen::Vector3d row(p.x() - middle.x(), p.y() - middle.y(), 1);
      const double tangent =
          std::max(kLeastTangent, (p - centre).head<2>().norm() / std::max(1e-9, centre.z() - p.z()));
      const double residual = tangent * (p.z() - plane.dot(row));
      off[i] = std::abs(residual);
      const double weight = tangent * tangent / (1 + residual * residual / (width * width));
      normal += weight * row * row.transpose();
      right += weight * p.z() * row;
      scale += weight * row.head<2>().squaredNorm() / double(sightings.size());
    }
    // As if one point as far out as the others said that the ground is level.
    normal(0, 0) += 0.05 * scale, normal(1, 1) += 0.05 * scale;
    plane = normal.ldlt().solve(right);
    width = std::max(1e-9, 3 * kSigmaOfMad * median_in_place(off));
  }
  const bool told = std::hypot(plane.x(), plane.y()) <= kSteepest && plane.z() < 0.9 * centre.z();
  if (!told) return {0, 0, std::min(middle.z(), 0.9 * centre.z())};
  return {plane.x(), plane.y(), plane.z() - plane.x() * middle.x() - plane.y() * middle.y()};
}

double depth_below(const GroundFacet& facet, const Network& network,
                   const std::vector<const Sighting*>& sightings) {
  if (sightings.size() < kPointsOfFacet) return 0;
  std::vector<double> depths;
  depths.reserve(sightings.size());
  for (const Sighting* s : sightings) {
    const Eigen::Vector3d& p = network.points[std::size_t(s->point)].position;
    depths.push_back(facet.along_x * p.x() + facet.along_y * p.y() + facet.height - p.z());
  }
  return std::max(0.0, quantile_in_place(depths, 0.95));
}

Homography<Ground, UndistortedPx> ground_from_frame(const Pose& pose, const Camera& camera,
                                                    const GroundFacet& facet) {
  const Eigen::Matrix3d camera_from_world = pose.world_from_camera.transpose();
  Eigen::Matrix3d camera_from_ground;
  camera_from_ground.col(0) = camera_from_world * Eigen::Vector3d(1, 0, facet.along_x);
  camera_from_ground.col(1) = camera_from_world * Eigen::Vector3d(0, 1, facet.along_y);
  camera_from_ground.col(2) = camera_from_world * (Eigen::Vector3d(0, 0, facet.height) - pose.centre);
  const Eigen::Matrix3d frame_from_ground = camera.matrix() * camera_from_ground;
  return {frame_from_ground.inverse()};
}

}  // namespace lookdown::place
