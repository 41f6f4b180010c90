#include "pipeline/geometry/pose.h"
#include "pipeline/base/angles.h"

#include <gtest/gtest.h>

#include <Eigen/Geometry>
#include <cmath>
#include <numbers>

namespace lookdown {
namespace {

Camera camera_4000x3000() {
  Camera camera = assumed_camera(4001, 3001);
  camera.fx_px = camera.fy_px = 3000;
  return camera;  // principal point (2000, 1500)
}

// Straight down, then tipped about the camera's x axis so that the top of the frame rises toward the horizon.
Pose tilted(double tilt_deg, double height) {
  Pose pose = straight_down({0, 0, height});
  pose.world_from_camera = pose.world_from_camera *
                           Eigen::AngleAxisd(tilt_deg * kDegree, Eigen::Vector3d::UnitX()).toRotationMatrix();
  return pose;
}

TEST(Pose, StraightDownSeesNorthAtTheTop) {
  const Pose pose = straight_down({10, 20, 30});
  const auto seen = project(pose, camera_4000x3000(), {10, 21, 0});
  EXPECT_NEAR(seen.x, 2000, 1e-9);
  EXPECT_NEAR(seen.y, 1500 - 3000.0 / 30, 1e-9);
  EXPECT_NEAR(off_nadir_deg(pose), 0, 1e-6);
}

TEST(Pose, HeadingTurnsTheTopOfTheFrameClockwiseFromNorth) {
  const Pose pose = straight_down({0, 0, 30}, 90 * kDegree);
  const auto east = project(pose, camera_4000x3000(), {1, 0, 0});
  EXPECT_NEAR(east.x, 2000, 1e-9);
  EXPECT_NEAR(east.y, 1400, 1e-9);
}

TEST(Pose, GroundFromFrameUndoesProjection) {
  const Pose pose = tilted(17, 33);
  const Camera camera = camera_4000x3000();
  for (const double plane_height : {0.0, 5.0}) {
    const auto seen = project(pose, camera, {3.5, -2.25, plane_height});
    const auto back = ground_from_frame(pose, camera, plane_height) * seen;
    EXPECT_NEAR(back.x, 3.5, 1e-9);
    EXPECT_NEAR(back.y, -2.25, 1e-9);
  }
}

// Derived: f = 3000 px, tilt t from nadir: the nadir point lies f tan t from the principal point and the
// horizon f cot t. t = 10: 528.981 and 17013.85; t = 30: 1732.051 and 5196.15.
TEST(Pose, NadirPointAndHorizonLieWherePhotogrammetryPutsThem) {
  const Camera camera = camera_4000x3000();
  const double expected[][3] = {{10, 528.981, 17013.85}, {30, 1732.051, 5196.15}};
  for (const auto& [tilt, nadir_distance, horizon_distance] : expected) {
    const Pose pose = tilted(tilt, 30);
    const Eigen::Vector3d down = down_in_camera(pose);
    EXPECT_NEAR(std::abs(camera.fy_px * down.y() / down.z()), nadir_distance, 0.001);
    const Eigen::Vector3d line = horizon_line(camera, -down);
    const double y_at_centre = -(line.x() * 2000 + line.z()) / line.y();
    EXPECT_NEAR(std::abs(y_at_centre - 1500), horizon_distance, 0.01);
    EXPECT_NEAR(off_nadir_deg(pose), tilt, 1e-9);
  }
}

// Derived: depression d, roll r: up = (sin r cos d, -cos r cos d, -sin d); f = 3000, principal point (2000,
// 1500).
TEST(Pose, HorizonLineFollowsDepressionAndRoll) {
  const double expected[][5] = {{30, 0, -232.0508, -232.0508, -232.0508},
                                {30, 5, -413.6443, -238.6670, -63.6896},
                                {10, -3, 1075.1087, 970.2931, 865.4776}};
  for (const auto& [depression, roll, at_0, at_2000, at_4000] : expected) {
    const double d = depression * kDegree, r = roll * kDegree;
    const Eigen::Vector3d line = horizon_line(
        camera_4000x3000(), {std::sin(r) * std::cos(d), -std::cos(r) * std::cos(d), -std::sin(d)});
    const auto y_at = [&](double x) { return -(line.x() * x + line.z()) / line.y(); };
    EXPECT_NEAR(y_at(0), at_0, 1e-4);
    EXPECT_NEAR(y_at(2000), at_2000, 1e-4);
    EXPECT_NEAR(y_at(4000), at_4000, 1e-4);
  }
}

// Derived: H = 30 m, f = 3000 px, at the principal point along/across the tilt: 10 deg 10.311/10.154 mm, 30
// deg 13.333/11.547 mm, 60 deg 40.0/20.0 mm.
TEST(Pose, GroundSampleDistanceGrowsWithTilt) {
  const double expected[][3] = {{10, 10.311, 10.154}, {30, 13.333, 11.547}, {60, 40.0, 20.0}};
  for (const auto& [tilt, along_mm, across_mm] : expected) {
    const GroundSampleDistance gsd = ground_sample_distance(tilted(tilt, 30), camera_4000x3000());
    EXPECT_NEAR(gsd.along * 1000, along_mm, 0.0006);
    EXPECT_NEAR(gsd.across * 1000, across_mm, 0.0006);
  }
}

}  // namespace
}  // namespace lookdown
