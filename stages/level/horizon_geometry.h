// From a line in the frame to how the camera hung, and back.
#pragma once

#include <Eigen/Core>

#include "pipeline/geometry/camera.h"

namespace lookdown::level {

/// Angles of the camera against the vertical; radians. Roll is of the frame as displayed, clockwise positive:
/// a horizon that falls to the right. Pitch is the optical axis above (+) or below (-) the horizontal.
struct Attitude {
  double roll_rad = 0;
  double pitch_rad = 0;
};

/// Unit vector to the zenith in camera axes of the frame as stored, for a line a x + b y + c = 0 in
/// undistorted stored pixels that is positive on the sky side: up ~ K^T line (Hartley & Zisserman, 2nd ed.,
/// eq. 8.2 inverted).
[[nodiscard]] Eigen::Vector3d up_from_line(const Camera&, const Eigen::Vector3d& line);

/// Roll and pitch of an up vector; `orientation` is the Exif value of the frame.
[[nodiscard]] Attitude attitude_from_up(const Eigen::Vector3d& up_in_camera, int orientation);

/// Up vector of an attitude: (sin r cos p, -cos r cos p, sin p) in displayed axes, brought to stored axes.
[[nodiscard]] Eigen::Vector3d up_from_attitude(const Attitude&, int orientation);

/// Angle of the visible sea horizon below the horizontal for an eye `height_m` above the water,
/// radians: 1.76' sqrt(h/m), mean refraction included (Bowditch, American Practical Navigator: 0.97'
/// sqrt(h/ft)). 0 for heights that are not positive.
[[nodiscard]] double dip_of_sea_horizon_rad(double height_m);

/// The same without refraction: acos(R / (R + h)), R = 6371 km; 1.926' sqrt(h/m).
[[nodiscard]] double geometric_dip_rad(double height_m);

}  // namespace lookdown::level
