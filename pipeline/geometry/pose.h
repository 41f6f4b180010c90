// Where a camera was and how it was turned. World: x east (or right), y north (or up), z up, ground plane z =
// 0. Camera: x right, y down, z forward. Angles inside the program are radians unless the name ends in _deg.
#pragma once

#include <Eigen/Core>

#include "pipeline/geometry/camera.h"
#include "pipeline/geometry/pixel_spaces.h"

namespace lookdown {

/// Rotation camera -> world and the centre in world units (metres when the scale is known).
struct Pose {
  Eigen::Matrix3d world_from_camera = Eigen::Matrix3d::Identity();
  Eigen::Vector3d centre = Eigen::Vector3d::Zero();
};

/// Pose of a camera at `centre` that looks straight down with the top of the frame pointing to `heading`
/// radians clockwise from north (+y).
[[nodiscard]] Pose straight_down(const Eigen::Vector3d& centre, double heading_rad = 0);

/// Undistorted pixel of a world point; its depth along the optical axis is returned in `depth` when given (<=
/// 0: behind).
[[nodiscard]] Point2<UndistortedPx> project(const Pose&, const Camera&, const Eigen::Vector3d& world,
                                            double* depth = nullptr);

/// Ground plane z = plane_height from undistorted frame pixels. H = [r1 r2 t]^-1 K^-1 form, e.g. Hartley &
/// Zisserman, Multiple View Geometry, 2nd ed., eq. 8.1.
[[nodiscard]] Homography<Ground, UndistortedPx> ground_from_frame(const Pose&, const Camera&,
                                                                  double plane_height = 0);

/// Angle between the optical axis and straight down, 0..180 degrees.
[[nodiscard]] double off_nadir_deg(const Pose&);

/// Straight down as a unit vector in camera axes.
[[nodiscard]] Eigen::Vector3d down_in_camera(const Pose&);

/// Distance on the ground between neighbouring pixel centres at the principal point, along and across the
/// tilt direction, in world units: H p / (f cos^2 t) and H p / (f cos t).
struct GroundSampleDistance {
  double along = 0;
  double across = 0;
};
[[nodiscard]] GroundSampleDistance ground_sample_distance(const Pose&, const Camera&,
                                                          double plane_height = 0);

/// The horizon as a x + b y + c = 0 in undistorted pixels (a, b, c) = K^-T up, with `up` in camera axes.
[[nodiscard]] Eigen::Vector3d horizon_line(const Camera&, const Eigen::Vector3d& up_in_camera);

}  // namespace lookdown
