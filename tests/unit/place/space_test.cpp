// Heights of tie points and the world that they define, on made-up frames.
#include <gtest/gtest.h>

#include <Eigen/Geometry>
#include <cmath>
#include <random>

#include "stages/place/adjustment/level.h"
#include "stages/place/planes/ground_facet.h"
#include "stages/place/planes/off_plane_points.h"

namespace lookdown::place {
namespace {

/// Two frames that look straight down from `height`, `base` apart, each with one keypoint on the same world
/// point.
struct StereoPair {
  std::vector<TieFrame> frames;
  Group group;
  TiePoint point;
};

StereoPair pair_over(double height, double base, const Eigen::Vector3d& world) {
  StereoPair pair;
  const Camera camera = assumed_camera(1600, 1067);
  pair.group.network.cameras = {camera};
  for (int i = 0; i < 2; ++i) {
    const Pose pose = straight_down({(i - 0.5) * base, 0, height});
    TieFrame frame;
    frame.camera = camera;
    frame.features.work_scale = 1;
    const auto at = project(pose, camera, world);
    frame.features.spots.push_back({float(at.x), float(at.y)});
    frame.undistorted.push_back(at);
    pair.frames.push_back(std::move(frame));
    pair.group.members.push_back(i);
    pair.group.network.poses.push_back(pose);
    pair.group.network.camera_of_frame.push_back(0);
    pair.point.sights.push_back({i, 0});
  }
  return pair;
}

// Normal case of stereo: sigma_Z = Z / B * sigma_parallax * Z / f (Kraus, Photogrammetry, vol. 1, on the
// accuracy of the normal case; Wolf & Dewitt, Elements of Photogrammetry, ch. on errors of parallax heights),
// the parallax being the difference of two positions of 0.5 px standard deviation each.
TEST(RaysInSpace, StandardDeviationOfAHeightFollowsBaseOverHeight) {
  for (const double base : {10.0, 20.0, 40.0}) {
    constexpr double height = 100;
    const StereoPair pair = pair_over(height, base, {0, 0, 5});
    const auto met = meet(pair.frames, pair.group, pair.point, 1);
    ASSERT_TRUE(met);
    EXPECT_NEAR(met->position.z(), 5, 1e-3);
    const double above = height - 5, gsd = above / pair.frames[0].camera.fx_px;
    const double parallax_sigma_px = std::sqrt(2.0) * 0.5;
    // The spread of a ray is taken at the plane, five metres farther than the point, so up to (100 / 95)^2.
    const double expected = above / base * parallax_sigma_px * gsd;
    EXPECT_GT(met->height_sigma, 0.98 * expected) << base;
    EXPECT_LT(met->height_sigma, 1.12 * expected) << base;
  }
}

TEST(MeanPlane, IsThatOfTheGroundHoweverManyTreesStandOnIt) {
  std::mt19937 random(5);
  std::uniform_real_distribution<double> unit(-1, 1);
  Network network;
  for (int i = 0; i < 2000; ++i) {
    const double x = 100 * unit(random), y = 100 * unit(random);
    const double tree = i % 5 == 0 ? 4 + 4 * std::abs(unit(random)) : 0;
    NetworkPoint& point = network.points.emplace_back();
    point.position = {x, y, 0.15 * x - 0.05 * y + 2 + 0.1 * unit(random) + tree};
  }
  const Eigen::Vector3d plane = mean_plane(network);
  EXPECT_NEAR(plane.x(), 0.15, 0.003);
  EXPECT_NEAR(plane.y(), -0.05, 0.003);
  EXPECT_NEAR(plane.z(), 2, 0.1);
}

// Cameras hang about the plumb line over ground that falls by 6 degrees: what is level comes out within the
// standard error of the cameras' mean tilt and the bias that is allowed for, 3 sigma together.
TEST(Level, IsThatOfHangingCamerasRatherThanOfASlope) {
  std::mt19937 random(11);
  std::normal_distribution<double> swing(0, 0.06);
  std::uniform_real_distribution<double> unit(-1, 1);
  Network network;
  const double slope = std::tan(6 * std::acos(-1) / 180);
  for (int i = 0; i < 400; ++i) {
    NetworkPoint& point = network.points.emplace_back();
    const double x = 100 * unit(random), y = 100 * unit(random);
    point.footing = Footing::near_plane;
    point.position = {x, y, slope * x + unit(random)};
  }
  for (int i = 0; i < 25; ++i) {
    Pose pose = straight_down({80 * unit(random), 80 * unit(random), 70 + 10 * unit(random)}, unit(random));
    pose.world_from_camera = Eigen::AngleAxisd(swing(random), Eigen::Vector3d::UnitX()) *
                             Eigen::AngleAxisd(swing(random), Eigen::Vector3d::UnitY()) *
                             pose.world_from_camera;
    network.poses.push_back(pose);
    network.known_tilts.push_back({i, {0, 0, 1}, 0.26});
  }
  lay_on_mean_plane(network);
  EXPECT_NEAR(mean_plane(network).norm(), 0, 1e-3);
  level(network);
  EXPECT_NEAR(mean_plane(network).x(), slope, 0.08);
  EXPECT_NEAR(mean_plane(network).y(), 0, 0.08);
  for (const NetworkPoint& p : network.points) ASSERT_EQ(p.footing, Footing::free_height);
}

TEST(GroundFacet, CarriesAFramesPixelsToWhereTheyAreOnASlope) {
  Network network;
  const Camera camera = assumed_camera(1600, 1067);
  network.cameras = {camera};
  network.camera_of_frame = {0};
  Pose pose = straight_down({5, -3, 60}, 0.3);
  pose.world_from_camera = Eigen::AngleAxisd(0.1, Eigen::Vector3d::UnitX()) * pose.world_from_camera;
  network.poses = {pose};
  for (int i = 0; i < 36; ++i) {
    const double x = -20 + 8 * (i % 6), y = -20 + 8 * (i / 6);
    network.points.emplace_back().position = {x, y, 0.2 * x - 0.1 * y + 4};
    const auto at = project(pose, camera, network.points.back().position);
    network.sightings.push_back({0, i, {at.x, at.y}, 1});
  }
  std::vector<const Sighting*> sightings;
  for (const Sighting& s : network.sightings) sightings.push_back(&s);
  const auto ground = ground_from_frame(pose, camera, facet_under(network, 0, sightings));
  for (const Sighting& s : network.sightings) {
    const auto found = ground * Point2<UndistortedPx>{s.at.x, s.at.y};
    const Eigen::Vector3d& given = network.points[std::size_t(s.point)].position;
    // The pull towards level ground costs little: a tenth of the slope's height error at the corners.
    EXPECT_NEAR(found.x, given.x(), 0.2);
    EXPECT_NEAR(found.y, given.y(), 0.2);
  }
  EXPECT_EQ(facet_under(network, 0, {}).height, 0);
}

}  // namespace
}  // namespace lookdown::place
