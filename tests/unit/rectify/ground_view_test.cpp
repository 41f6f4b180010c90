#include <gtest/gtest.h>

#include <Eigen/Dense>
#include <cmath>
#include <numbers>

#include "pipeline/base/angles.h"
#include "pipeline/geometry/pose.h"
#include "stages/rectify/ground_resolution.h"
#include "stages/rectify/rectify.h"

namespace lookdown::rectify {
namespace {

Camera camera_3000() {
  Camera camera = assumed_camera(4001, 3001);
  camera.fx_px = camera.fy_px = 3000;
  return camera;
}

Pose tilted(double tilt_deg, double height_m) {
  return pose_from_down(Eigen::Vector3d(0, std::sin(tilt_deg * kDegree), std::cos(tilt_deg * kDegree)),
                        height_m);
}

// H = 30 m, f = 3000 px, at the principal point: along H p / (f cos^2 t), across H p / (f cos t); derived.
TEST(GroundView, ScaleUnderTiltHasTheDerivedValues) {
  struct Case {
    double tilt_deg, along_mm, across_mm;
  };
  for (const Case& c : {Case{10, 10.311, 10.154}, Case{30, 13.333, 11.547}, Case{60, 40.0, 20.0}}) {
    const auto h = ground_from_frame(tilted(c.tilt_deg, 30), camera_3000());
    const PixelFootprint size = footprint(h, {2000, 1500});
    EXPECT_NEAR(1000 * size.longest, c.along_mm, 0.0005);
    EXPECT_NEAR(1000 * size.shortest, c.across_mm, 0.0005);
  }
}

// f = 3000, tilt 30 degrees: nadir point f tan t = 1732.051 px from the principal point (derived). It lies
// under the camera.
TEST(GroundView, TheNadirPointLiesUnderTheCamera) {
  const auto h = ground_from_frame(tilted(30, 30), camera_3000());
  const auto below = h * Point2<UndistortedPx>{2000, 1500 + 1732.0508};
  EXPECT_NEAR(below.x, 0, 1e-6);
  EXPECT_NEAR(below.y, 0, 1e-6);
}

TEST(GroundView, PoseFromDownLooksTheWayItSays) {
  const Eigen::Vector3d down = Eigen::Vector3d(0.2, 0.3, 0.9).normalized();
  const Pose pose = pose_from_down(down, 12);
  EXPECT_NEAR((down_in_camera(pose) - down).norm(), 0, 1e-12);
  EXPECT_NEAR(pose.world_from_camera.determinant(), 1, 1e-12);
  EXPECT_NEAR(
      (pose.world_from_camera * pose.world_from_camera.transpose() - Eigen::Matrix3d::Identity()).norm(), 0,
      1e-12);
}

TEST(GroundView, AFrameTowardTheHorizonKeepsASmallCanvas) {
  Options options;
  for (const double tilt_deg : {60.0, 80.0, 95.0}) {
    const auto view = view_from_pose(camera_3000(), tilted(tilt_deg, 30), options);
    ASSERT_TRUE(view) << tilt_deg;
    EXPECT_LT(1.0 * view->width_px * view->height_px, 400e6);
    EXPECT_NEAR(view->coarsest_gsd, 4 * view->gsd, 1e-9);
  }
}

TEST(GroundView, ATooLargeCanvasIsRefusedWithItsSize) {
  Options options;
  options.gsd_m = 0.0002;
  const auto view = view_from_pose(camera_3000(), tilted(0, 30), options);
  ASSERT_FALSE(view);
  EXPECT_NE(view.error().message().find("megapixels"), std::string::npos);
}

TEST(GroundView, ACameraBelowThePlaneIsRefused) {
  Options options;
  options.plane_height_m = 31;
  EXPECT_FALSE(view_from_pose(camera_3000(), tilted(0, 30), options));
}

TEST(GroundView, AFrameThatSeesOnlySkyIsRefused) {
  EXPECT_FALSE(view_from_pose(camera_3000(), tilted(170, 30), {}));
}

// A roof 5 m up seen from 30 m: a metre there spans more pixels, so the ground size of a pixel falls by 25
// / 30.
TEST(GroundView, RaisingThePlaneScalesTheGroundSize) {
  Options roof;
  roof.plane_height_m = 5;
  const auto ground_view = view_from_pose(camera_3000(), tilted(0, 30), {});
  const auto roof_view = view_from_pose(camera_3000(), tilted(0, 30), roof);
  ASSERT_TRUE(ground_view && roof_view);
  EXPECT_NEAR(roof_view->gsd / ground_view->gsd, 25.0 / 30, 1e-9);
}

/// Stored pixel of a ground point, with distortion.
Point2<StoredPx> seen(const Pose& pose, const Camera& camera, double x, double y) {
  return camera.distort(project(pose, camera, {x, y, 0}));
}

TEST(GroundView, TwoFamiliesOfParallelsGiveTheTilt) {
  Camera camera = camera_3000();
  camera.k1 = -0.1;
  const Pose pose = tilted(25, 30);
  std::vector<FrameEdge> east, north;
  for (const double at : {-6.0, 0.0, 5.0}) {
    east.push_back({seen(pose, camera, -8, at + 10), seen(pose, camera, 8, at + 10)});
    north.push_back({seen(pose, camera, at, 4), seen(pose, camera, at, 16)});
  }
  Options options;
  options.height_m = 30;
  const auto view = view_from_parallels(camera, east, north, options);
  ASSERT_TRUE(view);
  // Lengths on the ground come back: 16 m along the first family, 12 m along the second.
  const auto ground = [&](const Point2<StoredPx>& p) {
    return view->ground_from_frame * camera.undistort(p);
  };
  const auto a = ground(east[0].from), b = ground(east[0].to), c = ground(north[0].from),
             d = ground(north[0].to);
  EXPECT_NEAR(std::hypot(a.x - b.x, a.y - b.y), 16, 1e-4);
  EXPECT_NEAR(std::hypot(c.x - d.x, c.y - d.y), 12, 1e-4);
  EXPECT_NEAR(a.y, b.y, 1e-4);
}

TEST(GroundView, AKnownRectangleBecomesARectangle) {
  const Camera camera = camera_3000();
  const Pose pose = tilted(35, 40);
  const std::array<Point2<StoredPx>, 4> corners{seen(pose, camera, -3, 20), seen(pose, camera, 5, 20),
                                                seen(pose, camera, 5, 26), seen(pose, camera, -3, 26)};
  const auto view = view_from_rectangle(camera, corners, 8, 6, {});
  ASSERT_TRUE(view);
  const auto p = view->ground_from_frame * camera.undistort(seen(pose, camera, 1, 23));
  EXPECT_NEAR(p.x, 4, 1e-6);
  EXPECT_NEAR(p.y, 3, 1e-6);
}

TEST(GroundView, ParallelFamiliesAreRefused) {
  const Camera camera = camera_3000();
  const Pose pose = tilted(25, 30);
  const std::vector<FrameEdge> east{{seen(pose, camera, -8, 8), seen(pose, camera, 8, 8)},
                                    {seen(pose, camera, -8, 12), seen(pose, camera, 8, 12)}};
  EXPECT_FALSE(view_from_parallels(camera, east, east, {}));
}

}  // namespace
}  // namespace lookdown::rectify
