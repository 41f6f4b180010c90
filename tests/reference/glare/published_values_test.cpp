#include <gtest/gtest.h>

#include <Eigen/Core>
#include <chrono>
#include <cmath>
#include <numbers>

#include "pipeline/base/angles.h"
#include "pipeline/geometry/sun_and_water.h"

namespace lookdown::glare {
namespace {

double utc_s(int year, unsigned month, unsigned day, double hours) {
  using namespace std::chrono;
  const sys_days date{std::chrono::year{year} / std::chrono::month{month} / std::chrono::day{day}};
  return 86400.0 * static_cast<double>(date.time_since_epoch().count()) + 3600 * hours;
}

// Reda & Andreas, Solar position algorithm, NREL/TP-560-34302, table A5.1: 2003-10-17 12:30:30
// UTC-7, 39.742476 N 105.1786 W, 820 mbar, 11 C: zenith 50.111622, azimuth 194.340241 degrees; without
// refraction 50.1275.
TEST(SunPosition, AgreesWithTheNrelWorkedExample) {
  const double when = utc_s(2003, 10, 17, 19 + 30.0 / 60 + 30.0 / 3600);
  const SunPosition apparent = sun_position(39.742476, -105.1786, when, true, {820, 11});
  EXPECT_NEAR(90 - apparent.elevation_deg, 50.111622, 0.002);
  EXPECT_NEAR(apparent.azimuth_deg, 194.340241, 0.002);
  EXPECT_NEAR(90 - sun_position(39.742476, -105.1786, when, false).elevation_deg, 50.1275, 0.002);
}

// Meeus, Astronomical Algorithms, example 25.a: JDE 2448908.5 (1992-10-13 0 h TD): apparent right ascension
// 198.38083, declination -7.78507 degrees, by his low-accuracy method (0.01 degrees). Seen from the pole the
// elevation is the declination less the parallax that is in ours; azimuth there follows from right ascension,
// so it is checked by the zenith passage: from latitude = declination the sun stands in the zenith when the
// apparent sidereal time equals the right ascension.
TEST(SunPosition, AgreesWithMeeusExample25a) {
  constexpr double kDeltaT1992S = 59;  // Meeus, table 10.A: +59 s
  const double when = utc_s(1992, 10, 13, 0) - kDeltaT1992S;
  constexpr double kParallaxDeg = 8.794 / 3600;
  EXPECT_NEAR(sun_position(90, 0, when, false).elevation_deg + kParallaxDeg, -7.78507, 0.01);
  // Mean sidereal time at Greenwich, Meeus eq. 12.4, and the equation of the equinoxes: nutation in longitude
  // of 15.908" times the cosine of the obliquity of 23.440144 degrees (his example 25.b, same moment; from
  // memory).
  constexpr double kEquationOfEquinoxesDeg = 15.908 / 3600 * 0.917484;
  const double days = 2448908.5 - kDeltaT1992S / 86400 - 2451545.0;
  const double sidereal_deg =
      std::fmod(280.46061837 + 360.98564736629 * days, 360.0) + 360.0 + kEquationOfEquinoxesDeg;
  const double noon_longitude = std::remainder(198.38083 - sidereal_deg, 360.0);
  EXPECT_NEAR(sun_position(-7.78507, noon_longitude, when, false).elevation_deg, 90, 0.01);
}

// The sun of an equinox rises close to due east everywhere (definition); a rough check of the azimuth's zero
// and sense.
TEST(SunPosition, EquinoxSunRisesInTheEastAndCulminatesInTheSouth) {
  const SunPosition morning = sun_position(45, 0, utc_s(2024, 3, 20, 6.2), false);
  EXPECT_NEAR(morning.azimuth_deg, 90, 3);
  const SunPosition noon =
      sun_position(45, 0, utc_s(2024, 3, 20, 12.124), false);  // equation of time -7.5 min
  EXPECT_NEAR(noon.azimuth_deg, 180, 1);
  EXPECT_NEAR(noon.elevation_deg, 45, 0.3);
}

// Bennett's refraction lifts the sun by about 29' at the horizon and nothing at the zenith (Meeus chapter
// 16).
TEST(SunPosition, RefractionLiftsTheLowSunOnly) {
  double when = utc_s(2024, 6, 1, 4);
  while (sun_position(45, 0, when, false).elevation_deg < 0.5) when += 30;
  const double low =
      sun_position(45, 0, when, true).elevation_deg - sun_position(45, 0, when, false).elevation_deg;
  EXPECT_GT(low, 0.35);
  EXPECT_LT(low, 0.5);
  when = utc_s(2024, 6, 1, 12);
  EXPECT_NEAR(sun_position(45, 0, when, true).elevation_deg, sun_position(45, 0, when, false).elevation_deg,
              0.01);
}

// Fresnel's equations for n = 1.333 and 1.34 (derived).
TEST(Fresnel, GivesTheKnownReflectances) {
  EXPECT_NEAR(fresnel_reflectance(0, 1.333), 0.020373, 1e-6);
  EXPECT_NEAR(fresnel_reflectance(40 * kDegree, 1.333), 0.024502, 1e-6);
  EXPECT_NEAR(fresnel_reflectance(60 * kDegree, 1.333), 0.059691, 1e-6);
  EXPECT_NEAR(fresnel_reflectance(0, 1.34), 0.021112, 1e-6);
  EXPECT_NEAR(fresnel_reflectance(90 * kDegree, 1.333), 1, 1e-9);
  EXPECT_NEAR(brewster_angle_rad(1.333) / kDegree, 53.123, 5e-4);
}

// Cox & Munk, J. Opt. Soc. Am. 44:838 (1954): mean square slope 0.003 + 0.00512 W; nadir view, W = 5 m/s, sun
// at zenith angles 0, 20, 40 degrees: 11.1297, 3.75284, 0.108354 (derived from their distribution without the
// Gram-Charlier terms).
TEST(CoxMunk, FacetDensityFollowsTheSlopeDistribution) {
  const double slope = mean_square_slope(5);
  EXPECT_NEAR(slope, 0.0286, 1e-12);
  const Eigen::Vector3d up(0, 0, 1);
  const auto sun_at = [](double zenith_deg) {
    return Eigen::Vector3d(std::sin(zenith_deg * kDegree), 0, std::cos(zenith_deg * kDegree));
  };
  EXPECT_NEAR(facet_density(sun_at(0), up, slope), 11.1297, 1e-4);
  EXPECT_NEAR(facet_density(sun_at(20), up, slope), 3.75284, 1e-5);
  EXPECT_NEAR(facet_density(sun_at(40), up, slope), 0.108354, 1e-6);
}

// Slopes are a distribution: its integral over all slopes is 1 whatever the wind.
TEST(CoxMunk, DensityIntegratesToOne) {
  for (const double wind : {0.0, 2.0, 10.0}) {
    const double s2 = mean_square_slope(wind);
    double sum = 0;
    constexpr double kStep = 0.002;
    for (double tangent = kStep / 2; tangent < 2; tangent += kStep) {
      const double lean = std::atan(tangent);
      const Eigen::Vector3d sun(std::sin(2 * lean), 0, std::cos(2 * lean));
      if (sun.z() <= -0.99) break;
      sum += facet_density(sun, Eigen::Vector3d(0, 0, 1), s2) * 2 * std::numbers::pi * tangent * kStep;
    }
    EXPECT_NEAR(sum, 1, 1e-3) << wind;
  }
}

TEST(CoxMunk, PondsStayCalmerThanTheSea) {
  EXPECT_DOUBLE_EQ(mean_square_slope_of_pond(1), mean_square_slope(1));
  EXPECT_LT(mean_square_slope_of_pond(10), mean_square_slope(10));
}

// f tan(90 - elevation), f = 3000: elevation 60 -> 1732.05, 70 -> 1091.91 px (derived).
TEST(MirrorPoint, LiesAtTheKnownDistance) {
  EXPECT_NEAR(mirror_distance_px(3000, 60), 1732.05, 0.005);
  EXPECT_NEAR(mirror_distance_px(3000, 70), 1091.91, 0.005);
}

// The bisector of the direction to the sun and the direction back to the viewer is the vertical (law of
// reflection).
TEST(MirrorPoint, BisectorIsTheVertical) {
  const SunPosition sun{50, 120};
  const Eigen::Vector3d bisector = (sun_direction(sun) - *mirror_ray(sun)).normalized();
  EXPECT_NEAR(bisector.x(), 0, 1e-12);
  EXPECT_NEAR(bisector.y(), 0, 1e-12);
  EXPECT_NEAR(bisector.z(), 1, 1e-12);
  EXPECT_FALSE(mirror_ray({-1, 120}));
}

// 90 degrees minus half the diagonal field of view of 36 x 24 mm behind 24, 28, 35 mm: 48.0, 52.3, 58.3
// degrees (derived).
TEST(SunWindow, FollowsFromTheDiagonalField) {
  EXPECT_NEAR(elevation_without_mirror_deg(36, 24, 24), 48.0, 0.06);
  EXPECT_NEAR(elevation_without_mirror_deg(36, 24, 28), 52.3, 0.06);
  EXPECT_NEAR(elevation_without_mirror_deg(36, 24, 35), 58.3, 0.06);
}

}  // namespace
}  // namespace lookdown::glare
