#include <Eigen/Geometry>
#include <algorithm>
#include <cmath>
#include <numbers>

#include "pipeline/base/angles.h"
#include "pipeline/geometry/sun_and_water.h"

namespace lookdown {
Eigen::Vector3d sun_direction(const SunPosition& sun) {
  const double elevation = sun.elevation_deg * kDegree, azimuth = sun.azimuth_deg * kDegree;
  return {std::cos(elevation) * std::sin(azimuth), std::cos(elevation) * std::cos(azimuth),
          std::sin(elevation)};
}

double fresnel_reflectance(double incidence_rad, double refractive_index) {
  const double cosine_in = std::cos(incidence_rad);
  const double sine_out = std::sin(incidence_rad) / refractive_index;
  const double cosine_out = std::sqrt(std::max(0.0, 1.0 - sine_out * sine_out));
  const double across =
      (cosine_in - refractive_index * cosine_out) / (cosine_in + refractive_index * cosine_out);
  const double along =
      (refractive_index * cosine_in - cosine_out) / (refractive_index * cosine_in + cosine_out);
  return 0.5 * (across * across + along * along);
}

double brewster_angle_rad(double refractive_index) {
  return std::atan(refractive_index);
}

double mean_square_slope(double wind_m_s) {
  return 0.003 + 0.00512 * std::max(0.0, wind_m_s);
}

double mean_square_slope_of_pond(double wind_m_s) {
  constexpr double kShortFetchLimit = 0.02;
  return std::min(mean_square_slope(wind_m_s), kShortFetchLimit);
}

double facet_density(const Eigen::Vector3d& to_sun, const Eigen::Vector3d& to_viewer,
                     double mean_square_slope) {
  const Eigen::Vector3d bisector = to_sun + to_viewer;
  if (bisector.z() <= 0) return 0;
  const double tangent_squared = bisector.head<2>().squaredNorm() / (bisector.z() * bisector.z());
  return std::exp(-tangent_squared / mean_square_slope) / (std::numbers::pi * mean_square_slope);
}

double glint_radiance(const Eigen::Vector3d& to_sun, const Eigen::Vector3d& to_viewer,
                      double mean_square_slope, double refractive_index) {
  if (to_sun.z() <= 0 || to_viewer.z() <= 0) return 0;
  const Eigen::Vector3d facet = (to_sun + to_viewer).normalized();
  const double incidence = std::acos(std::clamp(facet.dot(to_sun), -1.0, 1.0));
  return facet_density(to_sun, to_viewer, mean_square_slope) *
         fresnel_reflectance(incidence, refractive_index) /
         (4.0 * to_viewer.z() * std::pow(facet.z(), 4) * to_sun.z());
}

std::optional<Eigen::Vector3d> mirror_ray(const SunPosition& sun) {
  if (sun.elevation_deg <= 0) return std::nullopt;
  const Eigen::Vector3d to_sun = sun_direction(sun);
  // Light travels along -to_sun and leaves the level surface with its vertical part turned round; the camera
  // looks against it.
  return Eigen::Vector3d(to_sun.x(), to_sun.y(), -to_sun.z());
}

double mirror_distance_px(double focal_px, double sun_elevation_deg) {
  return focal_px * std::tan((90.0 - sun_elevation_deg) * kDegree);
}

double elevation_without_mirror_deg(double width_px, double height_px, double focal_px) {
  return 90.0 - std::atan(0.5 * std::hypot(width_px, height_px) / focal_px) / kDegree;
}

}  // namespace lookdown
