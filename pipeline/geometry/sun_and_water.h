// Where the sun stands and what water does with its light: the physics behind glare prediction and flight
// planning. Plain numbers, no pictures. Angles carry their unit in the name; probabilities and reflectances
// are 0..1.
#pragma once

#include <Eigen/Core>
#include <optional>

namespace lookdown {

struct SunPosition {
  double elevation_deg = 0;  ///< above the horizontal, negative below
  double azimuth_deg = 0;    ///< clockwise from true north, 0..360
};

/// Air for the refraction of the sun's light near the ground.
struct Air {
  double pressure_mbar = 1010;
  double temperature_c = 10;
};

/// Sun at a place and a UTC time (seconds since 1970-01-01), geodetic latitude and longitude in degrees, east
/// positive. VSOP87 by libnova, then precession, nutation, aberration and parallax; within 0.001 degrees of
/// the NREL solar position algorithm (Reda & Andreas, NREL/TP-560-34302). With `refraction`, the apparent
/// elevation (Bennett's formula as in that report).
[[nodiscard]] SunPosition sun_position(double lat_deg, double lon_deg, double utc_s, bool refraction = true,
                                       const Air& air = {});

/// Direction toward the sun in world axes (x east, y north, z up), unit length.
[[nodiscard]] Eigen::Vector3d sun_direction(const SunPosition&);

/// Unpolarized reflectance of a smooth boundary between air and a medium of `refractive_index` (>= 1), for
/// light that arrives at `incidence_rad` (0..pi/2) from the normal. Fresnel's equations (Born & Wolf,
/// Principles of Optics, 1.5.2).
[[nodiscard]] double fresnel_reflectance(double incidence_rad, double refractive_index);

/// Angle at which the reflection is fully polarized: atan(n), in radians.
[[nodiscard]] double brewster_angle_rad(double refractive_index);

/// Mean square slope of a wind-roughened surface of long fetch: 0.003 + 0.00512 W, W in m/s at 12.5 m height
/// (Cox & Munk, J. Opt. Soc. Am. 44:838, 1954).
[[nodiscard]] double mean_square_slope(double wind_m_s);

/// The same, capped for water whose fetch is too short for the long waves to grow: a pond a few tens of
/// metres across stays below about 0.02, what 3 m/s raise in the open (the cap is a judgement of ours, not a
/// published value).
[[nodiscard]] double mean_square_slope_of_pond(double wind_m_s);

/// Probability density of facets that mirror the sun to the viewer, per unit of slope area: isotropic
/// Gaussian slopes, exp(-tan^2 b / s2) / (pi s2), b = angle between the vertical and the bisector of sun and
/// viewer (Cox & Munk 1954). `to_sun`, `to_viewer`: unit vectors, z up.
[[nodiscard]] double facet_density(const Eigen::Vector3d& to_sun, const Eigen::Vector3d& to_viewer,
                                   double mean_square_slope);

/// Radiance of the mirrored sun relative to the sun's irradiance on a horizontal surface: p R / (4 cos(view)
/// cos^4 b cos(sun)), per steradian, with R the Fresnel reflectance at the facet (Cox & Munk 1954, eq. 9 in
/// form).
[[nodiscard]] double glint_radiance(const Eigen::Vector3d& to_sun, const Eigen::Vector3d& to_viewer,
                                    double mean_square_slope, double refractive_index);

/// Viewing ray (unit, world axes, pointing down) along which flat water mirrors the sun; none when the sun is
/// down.
[[nodiscard]] std::optional<Eigen::Vector3d> mirror_ray(const SunPosition&);

/// Distance in pixels of the mirror point from the nadir point of a frame taken straight down: f tan(90 deg -
/// elevation), toward the sun's azimuth. The camera's own shadow lies as far on the other side.
[[nodiscard]] double mirror_distance_px(double focal_px, double sun_elevation_deg);

/// Largest sun elevation at which the mirror point stays out of a straight-down frame whatever its heading:
/// 90 deg minus half the diagonal field of view.
[[nodiscard]] double elevation_without_mirror_deg(double width_px, double height_px, double focal_px);

}  // namespace lookdown
