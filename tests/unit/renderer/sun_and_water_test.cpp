#include <gtest/gtest.h>

#include <opencv2/core.hpp>

#include "light/sun.h"
#include "light/water.h"

namespace render {
namespace {

TEST(RendererSun, StandsWhereTheSolarPositionAlgorithmPutsIt) {
  // Reda & Andreas, NREL/TP-560-34302, table A5.1: zenith 50.1275 without refraction, azimuth 194.340241.
  PlaceAndTime when;
  when.lat_deg = 39.742476;
  when.lon_deg = -105.1786;
  when.utc_offset_h = -7;
  when.year = 2003;
  when.month = 10;
  when.day = 17;
  when.local_seconds = 12 * 3600 + 30 * 60 + 30;
  const SunPosition sun = sun_position(when);
  EXPECT_NEAR(90 - sun.elevation_deg, 50.1275, 0.01);
  EXPECT_NEAR(sun.azimuth_deg, 194.340241, 0.01);
}

TEST(RendererSun, StartTimeIsMovedToTheWantedElevation) {
  for (const double wanted : {25.0, 50.0, 75.0}) {
    const PlaceAndTime morning = with_sun_elevation({}, wanted, true),
                       afternoon = with_sun_elevation({}, wanted, false);
    EXPECT_NEAR(sun_position(morning).elevation_deg, wanted, 0.01);
    EXPECT_NEAR(sun_position(afternoon).elevation_deg, wanted, 0.01);
    EXPECT_LT(sun_position(morning).azimuth_deg, 180);
    EXPECT_GT(sun_position(afternoon).azimuth_deg, 180);
  }
}

TEST(RendererWater, FresnelReflectanceOfFreshWater) {
  // n = 1.333: R(0) 0.020373, R(40) 0.024502, R(60) 0.059691 (derived from Fresnel's equations).
  EXPECT_NEAR(fresnel_reflectance(1), 0.020373, 1e-6);
  EXPECT_NEAR(fresnel_reflectance(std::cos(radians(40))), 0.024502, 1e-6);
  EXPECT_NEAR(fresnel_reflectance(std::cos(radians(60))), 0.059691, 1e-6);
}

TEST(RendererWater, ResolvedAndHiddenSlopesAddUpToTheMeanSquareSlope) {
  const double mean_square = 0.006;
  const WaterSurface surface(mean_square, 0.4, 12.0, 9);
  for (const double footprint : {0.005, 0.03, 0.3}) {
    double sum = 0;
    int count = 0;
    for (double y = 0; y < 24; y += 0.37)
      for (double x = 0; x < 24; x += 0.37) {
        const WaterSurface::Slope s = surface.at({x, y}, footprint, 1);
        sum += s.x * s.x + s.y * s.y + 2 * s.hidden_variance;
        ++count;
      }
    // Bilinear interpolation and whole mip levels lose a part of the finest waves.
    EXPECT_NEAR(sum / count, mean_square, 0.3 * mean_square) << footprint;
  }
}

TEST(RendererWater, StillWaterMirrorsTheSunOnlyAtTheMirrorPoint) {
  Weather weather;
  weather.sun_elevation = radians(60);
  weather.sun_azimuth = radians(90);
  weather.cloud_cover = 0;
  const Sky sky(weather);
  const Pond pond;
  // Mirror direction: looking down away from the zenith by 30 degrees toward the sun's azimuth (east).
  const auto seen = [&](double toward_east_deg) {
    const double t = radians(toward_east_deg);
    return luminance(
        water_light(sky, pond, {0, 0, 0}, {std::sin(t), 0, -std::cos(t)}, {0.1F, 0.1F, 0.1F}, 1, 1)
            .reflected);
  };
  EXPECT_GT(seen(30), 20.0F);
  EXPECT_LT(seen(28), 0.1F);
  EXPECT_LT(seen(-30), 0.1F);
}

TEST(RendererWater, WavesMoveAndAreTheSameForTheSameTime) {
  const WaterSurface now(0.005, 0.4, 3.0, 9), again(0.005, 0.4, 3.0, 9), later(0.005, 0.4, 3.2, 9);
  const auto at = [](const WaterSurface& s) { return s.at({3.1, 2.7}, 0.01, 1).x; };
  EXPECT_EQ(at(now), at(again));
  EXPECT_NE(at(now), at(later));
}

}  // namespace
}  // namespace render
