#include <Eigen/Geometry>
#include <algorithm>
#include <cmath>
#include <numbers>

#include "pipeline/base/angles.h"
#include "pipeline/geometry/pose.h"
#include "stages/level/level.h"
#include "stages/level/mirror_tilt.h"

namespace lookdown::level {
namespace {

Eigen::Vector3d down_of(const Tilt& tilt) {
  return {tilt.down_in_camera[0], tilt.down_in_camera[1], tilt.down_in_camera[2]};
}

double angle_between_deg(const Eigen::Vector3d& a, const Eigen::Vector3d& b) {
  return std::atan2(a.cross(b).norm(), a.dot(b)) / kDegree;
}

Tilt tilt_of_placement(const FramePlacement& placement) {
  const Eigen::Vector3d down = down_in_camera(placement.pose);
  Tilt tilt;
  tilt.down_in_camera = {down.x(), down.y(), down.z()};
  tilt.off_nadir_deg = off_nadir_deg(placement.pose);
  tilt.sigma_deg = placement.off_nadir_sigma_deg > 0 ? placement.off_nadir_sigma_deg : 1.0;
  tilt.from = "placement";
  return tilt;
}

/// Weighted mean direction of the sources that agree with the surest one; those that contradict it are left
/// out.
Tilt combined(std::vector<Tilt> sources) {
  std::stable_sort(sources.begin(), sources.end(),
                   [](const Tilt& a, const Tilt& b) { return a.sigma_deg < b.sigma_deg; });
  const Eigen::Vector3d surest = down_of(sources.front());
  Eigen::Vector3d sum = Eigen::Vector3d::Zero();
  double weight_sum = 0;
  for (const Tilt& tilt : sources) {
    const double sigma = std::max(0.01, tilt.sigma_deg);
    const double allowed = 3 * std::hypot(sigma, sources.front().sigma_deg);
    if (angle_between_deg(surest, down_of(tilt)) > allowed) continue;
    sum += down_of(tilt) / (sigma * sigma);
    weight_sum += 1 / (sigma * sigma);
  }
  const Eigen::Vector3d down = sum.normalized();
  Tilt result = sources.front();
  result.down_in_camera = {down.x(), down.y(), down.z()};
  result.off_nadir_deg = std::acos(std::clamp(down.z(), -1.0, 1.0)) / kDegree;
  result.sigma_deg = 1 / std::sqrt(weight_sum);
  return result;
}

/// A frame that the adjustment sees looking down cannot show the horizon: the line was something else.
bool contradicts_placement(const FrameRecord& frame) {
  if (!frame.horizon || !frame.placement.placed) return false;
  const double seen = 90 + frame.horizon->pitch_deg;
  const double placed = off_nadir_deg(frame.placement.pose);
  return placed < 45 && std::abs(seen - placed) > 10 + 3 * frame.placement.off_nadir_sigma_deg;
}

}  // namespace

void combine_tilts(FlightRecord& record) {
  for (FrameRecord& frame : record.frames) {
    std::erase_if(frame.tilt_sources, [](const Tilt& tilt) { return tilt.from == "placement"; });
    if (contradicts_placement(frame)) {
      frame.horizon.reset();
      std::erase_if(frame.tilt_sources, [](const Tilt& tilt) { return tilt.from == "horizon"; });
    }
    if (frame.placement.placed) frame.tilt_sources.push_back(tilt_of_placement(frame.placement));
    frame.tilt.reset();
    if (!frame.tilt_sources.empty()) frame.tilt = combined(frame.tilt_sources);
  }
  narrow_by_mirror_points(record);
}

}  // namespace lookdown::level
