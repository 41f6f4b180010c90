#include "stages/level/mirror_tilt.h"

#include <Eigen/Geometry>
#include <algorithm>
#include <cmath>
#include <map>
#include <string>

#include "pipeline/base/angles.h"

namespace lookdown::level {
namespace {

constexpr double kMirrorContradictsSigmas = 3;
// The mean slope of waves that wind drives is some tenths of a degree, and the sun is half a degree wide.
constexpr double kLeastMirrorSigmaDeg = 0.3;

Eigen::Vector3d vector_of(const std::array<double, 3>& v) {
  return {v[0], v[1], v[2]};
}

double angle_apart_rad(const Eigen::Vector3d& a, const Eigen::Vector3d& b) {
  return std::atan2(a.cross(b).norm(), a.dot(b));
}

void enter_down(const KnownDown& known, Tilt& tilt) {
  tilt.down_in_camera = {known.down.x(), known.down.y(), known.down.z()};
  tilt.off_nadir_deg = std::acos(std::clamp(known.down.z(), -1.0, 1.0)) / kDegree;
  tilt.sigma_deg = std::sqrt(0.5) * std::hypot(known.sigma_along_rad, known.sigma_across_rad) / kDegree;
}

}  // namespace

std::optional<KnownDown> narrowed_by_mirror(const Eigen::Vector3d& from, double from_sigma_rad,
                                            const Eigen::Vector3d& to_mirror_point, double zenith_angle_rad,
                                            double mirror_sigma_rad) {
  const double variance = from_sigma_rad * from_sigma_rad, of_mirror = mirror_sigma_rad * mirror_sigma_rad;
  const double miss = angle_apart_rad(from, to_mirror_point) - zenith_angle_rad;
  if (miss * miss > kMirrorContradictsSigmas * kMirrorContradictsSigmas * (variance + of_mirror))
    return std::nullopt;
  // Toward the mirror point the miss shrinks; on the sphere that is a turn about the axis across it.
  const Eigen::Vector3d axis = from.cross(to_mirror_point);
  if (axis.norm() < 1e-6) return std::nullopt;
  const double turned_rad = miss * variance / (variance + of_mirror);
  KnownDown known;
  known.down = Eigen::AngleAxisd(turned_rad, axis.normalized()) * from;
  known.along = axis.normalized().cross(known.down);
  known.sigma_along_rad = from_sigma_rad * std::sqrt(of_mirror / (variance + of_mirror));
  known.sigma_across_rad = from_sigma_rad;
  return known;
}

std::optional<RigHabit> habit_of_rig(const std::vector<FrameRecord>& frames, const std::string& camera_id) {
  constexpr std::size_t kLeastFrames = 5;
  constexpr double kKnownToDeg = 3, kHangsWithinDeg = 45;
  std::vector<Eigen::Vector3d> downs;
  for (const FrameRecord& frame : frames)
    if (frame.tilt && frame.info.camera_id == camera_id && frame.tilt->sigma_deg < kKnownToDeg &&
        frame.tilt->off_nadir_deg < kHangsWithinDeg)
      downs.push_back(vector_of(frame.tilt->down_in_camera));
  if (downs.size() < kLeastFrames) return std::nullopt;
  Eigen::Vector3d sum = Eigen::Vector3d::Zero();
  for (const Eigen::Vector3d& down : downs) sum += down;
  RigHabit habit{sum.normalized()};
  double squares = 0;
  for (const Eigen::Vector3d& down : downs) {
    const double apart = angle_apart_rad(down, habit.down);
    squares += apart * apart;
  }
  habit.sigma_rad = std::sqrt(squares / (2 * static_cast<double>(downs.size() - 1)));
  return habit;
}

void narrow_by_mirror_points(FlightRecord& record) {
  std::map<std::string, std::optional<RigHabit>> habits;  // before any frame is told by its habit
  for (const FrameRecord& frame : record.frames)
    if (!habits.contains(frame.info.camera_id))
      habits[frame.info.camera_id] = habit_of_rig(record.frames, frame.info.camera_id);
  for (FrameRecord& frame : record.frames) {
    if (!frame.glare || !frame.glare->mirror_point || !frame.sun) continue;
    const MirrorPoint& mirror = *frame.glare->mirror_point;
    const std::optional<RigHabit>& habit = habits[frame.info.camera_id];
    if (!frame.tilt && !habit) continue;
    const Eigen::Vector3d from = frame.tilt ? vector_of(frame.tilt->down_in_camera) : habit->down;
    const double from_sigma_rad = frame.tilt ? frame.tilt->sigma_deg * kDegree : habit->sigma_rad;
    const double zenith_angle_deg = 90 - frame.sun->elevation_deg;
    const Camera& camera = frame.placement.placed ? frame.placement.camera : frame.info.camera;
    const double from_focal_deg = std::max(0.0, camera.focal_sigma_share) * zenith_angle_deg;
    const double sigma_deg = std::hypot(std::max(kLeastMirrorSigmaDeg, mirror.sigma_deg), from_focal_deg);
    const auto known = narrowed_by_mirror(from, from_sigma_rad, vector_of(mirror.toward),
                                          zenith_angle_deg * kDegree, sigma_deg * kDegree);
    if (!known) continue;
    if (!frame.tilt) {
      frame.tilt = Tilt{};
      frame.tilt->from = "sun";
    }
    enter_down(*known, *frame.tilt);
  }
}

}  // namespace lookdown::level
