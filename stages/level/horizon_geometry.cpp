#include "stages/level/horizon_geometry.h"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "stages/level/copies/display_turn.h"

namespace lookdown::level {

Eigen::Vector3d up_from_line(const Camera& camera, const Eigen::Vector3d& line) {
  return (camera.matrix().transpose() * line).normalized();
}

Attitude attitude_from_up(const Eigen::Vector3d& up, int orientation) {
  const Eigen::Vector2d shown = display_from_stored(orientation) * up.head<2>();
  return {std::atan2(shown.x(), -shown.y()), std::asin(std::clamp(up.z() / up.norm(), -1.0, 1.0))};
}

Eigen::Vector3d up_from_attitude(const Attitude& attitude, int orientation) {
  const double level = std::cos(attitude.pitch_rad);
  const Eigen::Vector2d shown(std::sin(attitude.roll_rad) * level, -std::cos(attitude.roll_rad) * level);
  // The turn is orthogonal, so its transpose brings displayed directions back.
  const Eigen::Vector2d stored = display_from_stored(orientation).transpose() * shown;
  return {stored.x(), stored.y(), std::sin(attitude.pitch_rad)};
}

double dip_of_sea_horizon_rad(double height_m) {
  constexpr double arc_minute = std::numbers::pi / 180 / 60;
  return height_m > 0 ? 1.76 * arc_minute * std::sqrt(height_m) : 0.0;
}

double geometric_dip_rad(double height_m) {
  constexpr double earth_radius_m = 6'371'000;
  return height_m > 0 ? std::acos(earth_radius_m / (earth_radius_m + height_m)) : 0.0;
}

}  // namespace lookdown::level
