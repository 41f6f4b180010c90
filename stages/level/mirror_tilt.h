// What the sun's mirror image on level water tells of a frame's tilt: one angle. Straight down and the
// direction in which flat water mirrors the sun are as far apart as the sun is from the zenith, so that
// straight down lies on a circle about the mirror point; where on it is for other sources to say. Private to
// the stage (and its tests and benchmark).
#pragma once

#include <Eigen/Core>
#include <optional>
#include <vector>

#include "pipeline/record/flight_record.h"

namespace lookdown::level {

/// Straight down in camera axes as far as it is known: standard deviations along and across `along`, which is
/// tangent to `down` (unit vectors).
struct KnownDown {
  Eigen::Vector3d down = Eigen::Vector3d::UnitZ();
  Eigen::Vector3d along = Eigen::Vector3d::UnitX();
  double sigma_along_rad = 0, sigma_across_rad = 0;
};

/// `from` (of one standard deviation in all directions, radians) turned toward the circle by its share of the
/// miss, as least squares have it: a / (a + b) for variances a and b. Empty where the two contradict each
/// other by more than three standard deviations.
[[nodiscard]] std::optional<KnownDown> narrowed_by_mirror(const Eigen::Vector3d& from, double from_sigma_rad,
                                                          const Eigen::Vector3d& to_mirror_point,
                                                          double zenith_angle_rad, double mirror_sigma_rad);

/// How the camera hangs in its rig: mean and spread (standard deviation on one axis) of straight down over
/// the frames of `camera_id` whose tilt is known; empty with fewer than five.
struct RigHabit {
  Eigen::Vector3d down;  ///< unit vector in camera axes
  double sigma_rad = 0;
};
[[nodiscard]] std::optional<RigHabit> habit_of_rig(const std::vector<FrameRecord>&,
                                                   const std::string& camera_id);

/// Narrows the tilts of all frames whose mirror point and sun are known; frames without a tilt get one, with
/// Tilt::from "sun", from the mirror point and how the other frames hang.
void narrow_by_mirror_points(FlightRecord&);

}  // namespace lookdown::level
