#include "stages/level/verticals/manhattan_vanishing_points.h"

#include <gtest/gtest.h>

#include <Eigen/Geometry>
#include <cmath>
#include <random>

#include "pipeline/base/angles.h"

namespace lookdown::level {
namespace {

/// A camera 30 m up, tilted `tilt` about its x axis, then turned; sees points of the world as z = 1 plane
/// positions.
struct Onlooker {
  Eigen::Matrix3d camera_from_world;
  explicit Onlooker(double tilt_deg, double heading_deg) {
    // x right, y down, z forward; straight down: x east, y south, z down.
    Eigen::Matrix3d straight;
    straight << 1, 0, 0, 0, -1, 0, 0, 0, -1;
    camera_from_world =
        Eigen::AngleAxisd(tilt_deg * kDegree, Eigen::Vector3d::UnitX()).toRotationMatrix() *
        Eigen::AngleAxisd(heading_deg * kDegree, Eigen::Vector3d::UnitZ()).toRotationMatrix() * straight;
  }
  Eigen::Vector2d see(const Eigen::Vector3d& world) const {
    const Eigen::Vector3d p = camera_from_world * (world - Eigen::Vector3d(0, 0, 30));
    return p.head<2>() / p.z();
  }
  StraightEdge edge(const Eigen::Vector3d& from, const Eigen::Vector3d& to) const {
    const Eigen::Vector2d a = see(from), b = see(to);
    return {0.5 * (a + b), (b - a).normalized(), 1000 * (b - a).norm()};
  }
};

/// Edges of beds all over the view, each run along x or y within `askew_deg`, directions seen to 0.15
/// degrees.
std::vector<StraightEdge> beds(const Onlooker& onlooker, double askew_deg, unsigned seed) {
  std::mt19937 random(seed);
  std::uniform_real_distribution<double> place(-11, 11), askew(-askew_deg * kDegree, askew_deg * kDegree);
  std::normal_distribution<double> scatter(0, 0.15 * kDegree);
  std::vector<StraightEdge> edges;
  for (int i = 0; i < 60; ++i) {
    const Eigen::Vector3d from(place(random), place(random), 0);
    const double heading = (i % 2) * 90 * kDegree + askew(random);
    const Eigen::Vector3d to = from + 5 * Eigen::Vector3d(std::cos(heading), std::sin(heading), 0);
    StraightEdge edge = onlooker.edge(from, to);
    edge.direction = Eigen::Rotation2Dd(scatter(random)) * edge.direction;
    edges.push_back(edge);
  }
  return edges;
}

// Positions follow from the pinhole model, so the tilt is known exactly.
TEST(ManhattanGround, BedsInTwoDirectionsGiveTheTilt) {
  for (const double tilt : {0.0, 4.0, 11.0, 19.0}) {
    const auto found = tilt_from_manhattan_directions(beds(Onlooker(tilt, 33), 0, 5));
    ASSERT_TRUE(found) << tilt;
    EXPECT_NEAR(found->off_nadir_deg, tilt, 0.7) << tilt;
    EXPECT_LE(found->sigma_deg, 1.5);
    EXPECT_EQ(found->from, "parallels");
  }
}

TEST(ManhattanGround, EdgesInAllDirectionsSayNothing) {
  EXPECT_FALSE(tilt_from_manhattan_directions(beds(Onlooker(8, 10), 45, 9)));
  EXPECT_FALSE(tilt_from_manhattan_directions({}));
}

TEST(ManhattanGround, OneFamilyAloneSaysNothing) {
  auto edges = beds(Onlooker(8, 10), 0, 3);
  std::vector<StraightEdge> one;
  for (std::size_t i = 0; i < edges.size(); i += 2) one.push_back(edges[i]);
  EXPECT_FALSE(tilt_from_manhattan_directions(one));
}

// Sheds that stand a few degrees askew of each other are not one right-angled world: claiming a tilt would be
// wrong by degrees.
TEST(ManhattanGround, SetsOfEdgesAskewOfEachOtherAreNotTrustedFarFromTheTruth) {
  for (unsigned seed = 1; seed <= 6; ++seed) {
    const auto found = tilt_from_manhattan_directions(beds(Onlooker(3, 20), 6, seed));
    if (found) {
      EXPECT_NEAR(found->off_nadir_deg, 3, 2.5 * found->sigma_deg) << seed;
    }
  }
}

}  // namespace
}  // namespace lookdown::level
