// Straight down from where the sun is mirrored: mirrors obey angle of incidence = angle of reflection, the
// rest is least squares.
#include "stages/level/mirror_tilt.h"

#include <gtest/gtest.h>

#include <Eigen/Geometry>
#include <cmath>
#include <random>

#include "pipeline/base/angles.h"
#include "pipeline/geometry/pose.h"
#include "stages/level/level.h"

namespace lookdown::level {
namespace {

double apart_deg(const Eigen::Vector3d& a, const Eigen::Vector3d& b) {
  return std::atan2(a.cross(b).norm(), a.dot(b)) / kDegree;
}

/// Straight down, turned about an axis across the optical axis.
Eigen::Vector3d hanging(double off_nadir_deg, double toward_rad) {
  const double t = off_nadir_deg * kDegree;
  return {std::sin(t) * std::cos(toward_rad), std::sin(t) * std::sin(toward_rad), std::cos(t)};
}

/// Where flat water mirrors a sun of that elevation: as far from straight down as the sun is from the zenith.
Eigen::Vector3d mirror_of(const Eigen::Vector3d& down, double elevation_deg, double azimuth_rad) {
  const Eigen::Vector3d u = down.unitOrthogonal(), v = down.cross(u);
  const double zenith = (90 - elevation_deg) * kDegree;
  return std::cos(zenith) * down + std::sin(zenith) * (std::cos(azimuth_rad) * u + std::sin(azimuth_rad) * v);
}

TEST(MirrorTilt, AnExactMirrorPointMovesAGuessOntoTheCircleByTheShortestWay) {
  for (const double elevation_deg : {45.0, 60.0, 75.0})
    for (int k = 0; k < 8; ++k) {
      const Eigen::Vector3d down = hanging(9, 0.8 * k), mirror = mirror_of(down, elevation_deg, 1.3 * k);
      const auto known = narrowed_by_mirror(Eigen::Vector3d::UnitZ(), 6 * kDegree, mirror,
                                            (90 - elevation_deg) * kDegree, 1e-6);
      ASSERT_TRUE(known);
      EXPECT_NEAR(apart_deg(known->down, mirror), 90 - elevation_deg, 1e-4);
      EXPECT_LE(apart_deg(known->down, Eigen::Vector3d::UnitZ()),
                apart_deg(down, Eigen::Vector3d::UnitZ()) + 1e-6);
      EXPECT_LT(known->sigma_along_rad, 1e-5);
      EXPECT_NEAR(known->sigma_across_rad, 6 * kDegree, 1e-12);
      EXPECT_NEAR(known->along.dot(known->down), 0, 1e-9);
    }
}

// On one axis two measurements of variances a and b give a b / (a + b); derived.
TEST(MirrorTilt, GuessAndMirrorPointAreWeightedByTheirUncertainty) {
  const Eigen::Vector3d mirror = mirror_of(hanging(5, 0), 60, 0);
  const auto known =
      narrowed_by_mirror(Eigen::Vector3d::UnitZ(), 3 * kDegree, mirror, 30 * kDegree, 4 * kDegree);
  ASSERT_TRUE(known);
  const double before = apart_deg(Eigen::Vector3d::UnitZ(), mirror) - 30,
               after = apart_deg(known->down, mirror) - 30;
  EXPECT_NEAR(after / before, 16.0 / 25, 1e-6);
  EXPECT_NEAR(known->sigma_along_rad / kDegree, 12.0 / 5, 1e-6);
}

TEST(MirrorTilt, WhatContradictsTheGuessIsNotBelieved) {
  const Eigen::Vector3d mirror = mirror_of(hanging(20, 0), 60, 0);
  EXPECT_FALSE(narrowed_by_mirror(Eigen::Vector3d::UnitZ(), 1 * kDegree, mirror, 30 * kDegree, 1 * kDegree));
}

/// Frames that hang by chance, their tilts known but for the last, which sees the sun mirrored.
FlightRecord swinging(unsigned seed, double spread_deg, double mirror_error_deg, Eigen::Vector3d& true_down) {
  std::mt19937 random(seed);
  std::normal_distribution<double> normal;
  FlightRecord record;
  for (int i = 0; i < 30; ++i) {
    const Eigen::Vector3d down = Eigen::Vector3d(spread_deg * kDegree * normal(random) + 0.05,
                                                 spread_deg * kDegree * normal(random), 1)
                                     .normalized();
    FrameRecord frame;
    frame.tilt_sources.push_back(
        Tilt{{down.x(), down.y(), down.z()}, std::acos(down.z()) / kDegree, 0.5, "horizon"});
    record.frames.push_back(frame);
    true_down = down;
  }
  FrameRecord& last = record.frames.back();
  last.tilt_sources.clear();
  last.sun = Sun{62, 0};
  last.glare = Glare{};
  Eigen::Vector3d mirror = mirror_of(true_down, 62, 6.28 * (seed % 17) / 17);
  mirror = (mirror + mirror_error_deg * kDegree *
                         (normal(random) * mirror.unitOrthogonal() +
                          normal(random) * mirror.cross(mirror.unitOrthogonal())))
               .normalized();
  last.glare->mirror_point = MirrorPoint{{mirror.x(), mirror.y(), mirror.z()}, mirror_error_deg};
  return record;
}

// The stated uncertainty is right on average: errors in standard deviations, squared, of the two axes are 1
// in the mean (200 frames of two axes: the mean is known to 0.1, more loosely as the spread of thirty frames
// is).
TEST(MirrorTilt, StatesItsUncertaintyForFramesThatNothingElseTells) {
  double squares = 0, with = 0, without = 0;
  constexpr int kFlights = 200;
  int told = 0;
  for (unsigned seed = 0; seed < kFlights; ++seed) {
    Eigen::Vector3d down;
    FlightRecord record = swinging(seed, 5, 1, down);
    combine_tilts(record);
    const auto& tilt = record.frames.back().tilt;
    if (!tilt) continue;  // more than three standard deviations off: some in a thousand
    ++told;
    EXPECT_EQ(tilt->from, "sun");
    const Eigen::Vector3d found(tilt->down_in_camera[0], tilt->down_in_camera[1], tilt->down_in_camera[2]);
    const double error = apart_deg(found, down);
    squares += error * error / (2 * tilt->sigma_deg * tilt->sigma_deg);
    with += error * error;
    without += std::pow(apart_deg(habit_of_rig(record.frames, "")->down, down), 2);
  }
  EXPECT_GE(told, kFlights - 3);
  EXPECT_NEAR(squares / told, 1, 0.25);
  EXPECT_LT(with, 0.65 * without);  // one axis of two is known
}

TEST(MirrorTilt, NothingIsToldWithoutTheSunOrWithoutOtherTilts) {
  Eigen::Vector3d down;
  FlightRecord record = swinging(3, 5, 1, down);
  record.frames.back().sun.reset();
  combine_tilts(record);
  EXPECT_FALSE(record.frames.back().tilt);
  record = swinging(3, 5, 1, down);
  record.frames.erase(record.frames.begin(), record.frames.end() - 4);
  combine_tilts(record);
  EXPECT_FALSE(record.frames.back().tilt);
}

}  // namespace
}  // namespace lookdown::level
