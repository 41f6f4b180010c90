#include "stages/glare/sun/sun_from_glint.h"
#include "pipeline/base/angles.h"

#include <gtest/gtest.h>

#include <Eigen/Geometry>
#include <algorithm>
#include <cmath>
#include <random>

#include "pipeline/geometry/sun_and_water.h"

namespace lookdown::glare {
namespace {

// Water seen from a camera that looks down and turns: directions within 35 degrees of the vertical. Glint by
// Cox and Munk's facet density about `sun` (facet_density is tested against published values), flecks
// everywhere.
std::vector<GlintSample> looks(const SunPosition& sun, double mean_square_slope, double peak, double flecks) {
  std::mt19937 random(11);
  std::uniform_real_distribution<double> sine(-0.57, 0.57), noise(0.5, 1.5);
  std::vector<GlintSample> samples;
  while (samples.size() < 4000) {
    const double x = sine(random), y = sine(random);
    if (x * x + y * y > 0.33) continue;
    const Eigen::Vector3d to_viewer(x, y, std::sqrt(1 - x * x - y * y));
    const double density =
        facet_density(sun_direction(sun), to_viewer, mean_square_slope) * M_PI * mean_square_slope;
    samples.push_back({to_viewer, (flecks + peak * density) * noise(random), 1});
  }
  return samples;
}

double away_deg(const GlintSun& found, const SunPosition& sun) {
  return std::acos(std::clamp(found.to_sun.dot(sun_direction(sun)), -1.0, 1.0)) / kDegree;
}

TEST(SunFromGlint, IsWhereTheFacetsMirrorIt) {
  for (const SunPosition& sun : {SunPosition{62, 140}, SunPosition{70, 250}, SunPosition{78, 10}}) {
    const auto found = sun_from_glint(looks(sun, 0.006, 0.3, 0.002));
    ASSERT_TRUE(found.has_value());
    EXPECT_LT(away_deg(*found, sun), 1);
    EXPECT_NEAR(std::log(found->mean_square_slope / 0.006), 0, 0.4);
    EXPECT_NEAR(found->peak_rate, 0.3, 0.06);
    EXPECT_NEAR(found->background_rate, 0.002, 0.001);
  }
}

TEST(SunFromGlint, TurnsWithTheFlight) {
  const SunPosition sun{66, 100};
  std::vector<GlintSample> samples = looks(sun, 0.005, 0.3, 0.001);
  const Eigen::AngleAxisd turn(0.7, Eigen::Vector3d::UnitZ());
  for (GlintSample& sample : samples) sample.to_viewer = turn * sample.to_viewer;
  const auto found = sun_from_glint(samples);
  ASSERT_TRUE(found.has_value());
  EXPECT_LT(std::acos(std::min(1.0, found->to_sun.dot(turn * sun_direction(sun)))) / kDegree, 1);
}

TEST(SunFromGlint, KeepsToAKnownElevation) {
  const SunPosition sun{64, 200};
  SkySearch search;
  search.elevation_rad = 64 * kDegree;
  const auto found = sun_from_glint(looks(sun, 0.006, 0.3, 0.002), search);
  ASSERT_TRUE(found.has_value());
  EXPECT_NEAR(std::asin(found->to_sun.z()) / kDegree, 64, 1e-6);
  EXPECT_LT(away_deg(*found, sun), 1);
}

TEST(SunFromGlint, FlecksEverywhereAreNoSun) {
  EXPECT_FALSE(sun_from_glint(looks({65, 120}, 0.006, 0, 0.01)).has_value());
  EXPECT_FALSE(sun_from_glint({}).has_value());
}

TEST(SunFromGlint, FlecksFarFromTheMirrorPointAreNotGlint) {
  const SunPosition sun{65, 120};
  const auto found = sun_from_glint(looks(sun, 0.005, 0.3, 0.002));
  ASSERT_TRUE(found.has_value());
  const Eigen::Vector3d to_sun = sun_direction(sun);
  const Eigen::Vector3d mirrored(-to_sun.x(), -to_sun.y(),
                                 to_sun.z());  // a viewer there sees the mirror image
  EXPECT_GT(found->odds(mirrored), 3);
  EXPECT_LT(found->odds(Eigen::Vector3d(to_sun.x(), to_sun.y(), to_sun.z())), -3);
}

}  // namespace
}  // namespace lookdown::glare
