// The projection of a fisheye lens, in which the distance from the middle of the picture grows with the angle
// off the axis instead of its tangent: Kannala & Brandt, IEEE TPAMI 28(8), 2006; OpenCV's cv::fisheye.
#pragma once

#include <Eigen/Core>

namespace lookdown {

/// From tangents (x / z, y / z of a viewing ray) to angles: the same direction about the axis, as long as the
/// angle off the axis in radians. `jacobian`, if given, becomes the derivative by the tangents.
[[nodiscard]] Eigen::Vector2d angles_of(const Eigen::Vector2d& tangents, Eigen::Matrix2d* jacobian = nullptr);

/// The inverse of `angles_of`; what lies 89 degrees off the axis or more is brought to 89 degrees, since a
/// plane before the camera holds no more.
[[nodiscard]] Eigen::Vector2d tangents_of(const Eigen::Vector2d& angles);

}  // namespace lookdown
