#include "pipeline/geometry/equidistant.h"

#include <algorithm>
#include <cmath>

#include "pipeline/base/angles.h"

namespace lookdown {

Eigen::Vector2d angles_of(const Eigen::Vector2d& tangents, Eigen::Matrix2d* jacobian) {
  const double square = tangents.squaredNorm(), r = std::sqrt(square);
  // Series near the axis: atan(r) / r = 1 - r^2 / 3 + ..., and its derivative by r over r = -2 / 3 + ...
  const bool near = r < 1e-4;
  const double ratio = near ? 1 - square / 3 : std::atan(r) / r;
  if (jacobian != nullptr) {
    const double slope_over_r = near ? -2.0 / 3 : (1 / (1 + square) - ratio) / square;
    *jacobian = ratio * Eigen::Matrix2d::Identity() + slope_over_r * tangents * tangents.transpose();
  }
  return ratio * tangents;
}

Eigen::Vector2d tangents_of(const Eigen::Vector2d& angles) {
  const double angle = angles.norm();
  if (angle < 1e-9) return angles;
  return std::tan(std::min(angle, 89 * kDegree)) / angle * angles;
}

}  // namespace lookdown
