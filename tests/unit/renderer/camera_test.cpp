#include "camera/camera.h"

#include <gtest/gtest.h>

namespace render {
namespace {

Camera plain_camera(double focal_px, double cx, double cy) {
  Camera camera;
  camera.width_px = static_cast<int>(2 * cx);
  camera.height_px = static_cast<int>(2 * cy);
  camera.fx_px = camera.fy_px = focal_px;
  camera.cx_px = cx;
  camera.cy_px = cy;
  return camera;
}

TEST(RendererCamera, StraightDownScaleIsFocalLengthOverHeight) {
  const Camera camera = plain_camera(3000, 2000, 1500);
  const Pose pose{look_down(0, 0, 0), {10, 20, 30}};
  // Ground sample distance = H / f = 10 mm a pixel: 1 m east is 100 px right, 1 m north is 100 px up.
  const Vec2 east = project(camera, pose, {11, 20, 0}), north = project(camera, pose, {10, 21, 0});
  EXPECT_NEAR(east.x, 2100, 1e-9);
  EXPECT_NEAR(east.y, 1500, 1e-9);
  EXPECT_NEAR(north.x, 2000, 1e-9);
  EXPECT_NEAR(north.y, 1400, 1e-9);
}

TEST(RendererCamera, HeadingTurnsTheFrameCounterClockwiseFromEast) {
  const Camera camera = plain_camera(1000, 800, 600);
  const Pose pose{look_down(kPi / 2, 0, 0), {0, 0, 10}};
  // Image right is north, so image down is east.
  const Vec2 north = project(camera, pose, {0, 1, 0});
  EXPECT_NEAR(north.x, 900, 1e-9);
  EXPECT_NEAR(north.y, 600, 1e-9);
}

TEST(RendererCamera, NadirPointLiesFTanTFromThePrincipalPoint) {
  // f = 3000 px, tilt 10 and 30 degrees: f tan t = 528.981 and 1732.051 px (derived).
  for (const auto& [tilt, distance] : {std::pair{10.0, 528.981}, {30.0, 1732.051}}) {
    const Camera camera = plain_camera(3000, 2000, 1500);
    const Pose pose{look_down(0.7, radians(tilt), 1.9), {0, 0, 30}};
    const Vec2 nadir = project(camera, pose, {0, 0, 0});
    EXPECT_NEAR(length(nadir - Vec2{2000, 1500}), distance, 1e-3);
    EXPECT_NEAR(degrees(std::acos(-pose.rotation.forward.z)), tilt, 1e-9);
  }
}

TEST(RendererCamera, DistortionFollowsBrownsPolynomialAndIsInverted) {
  Camera camera = plain_camera(1000, 800, 600);
  camera.k1 = -0.1;
  camera.k2 = 0.02;
  camera.p1 = 0.001;
  camera.p2 = -0.0005;
  // By hand for (x, y) = (0.5, 0.2): r2 = 0.29, radial = 1 - 0.029 + 0.001682 = 0.972682,
  // xd = 0.486341 + 2*0.001*0.1 - 0.0005*(0.29+0.5) = 0.486146, yd = 0.1945364 + 0.001*(0.29+0.08) -
  // 0.001*0.1 = 0.1948064.
  const Vec2 px = project(camera, {0.5, 0.2, 1});
  EXPECT_NEAR(px.x, 800 + 486.146, 1e-6);
  EXPECT_NEAR(px.y, 600 + 194.8064, 1e-6);
  const Vec3 back = ray_of(camera, px);
  EXPECT_NEAR(back.x, 0.5, 1e-6);
  EXPECT_NEAR(back.y, 0.2, 1e-6);
}

TEST(RendererCamera, HorizonLineOfKnownDepressionAndRoll) {
  // f = 3000, principal point (2000, 1500); y at x = 0 / 2000 / 4000 (derived from K^-T up).
  struct Row {
    double depression, roll, left, middle, right;
  };
  for (const Row& row :
       {Row{30, 0, -232.0508, -232.0508, -232.0508}, Row{30, 5, -413.6443, -238.6670, -63.6896},
        Row{10, -3, 1075.1087, 970.2931, 865.4776}}) {
    const Camera camera = plain_camera(3000, 2000, 1500);
    const Rotation rotation = look_forward(0.4, radians(-row.depression), radians(row.roll), 1);
    const HorizonLine line = horizon_of(camera, rotation, 1);
    const auto y_at = [&](double x) { return -(line.a * x + line.c) / line.b; };
    EXPECT_NEAR(y_at(0), row.left, 1e-3);
    EXPECT_NEAR(y_at(2000), row.middle, 1e-3);
    EXPECT_NEAR(y_at(4000), row.right, 1e-3);
    EXPECT_NEAR(line.roll_deg, row.roll, 1e-9);
    EXPECT_NEAR(line.pitch_deg, -row.depression, 1e-9);
  }
}

TEST(RendererCamera, RollIsThatOfTheFrameAsDisplayed) {
  // Exif 2.3, tag 0x0112: 6 = the stored row 0 is the displayed right side, 8 = the left side, 3 = turned by
  // 180.
  for (const int orientation : {1, 3, 6, 8}) {
    Camera camera = plain_camera(1000, 800, 600);
    const Rotation rotation = look_forward(1.0, radians(-5), radians(12), orientation);
    const HorizonLine line = horizon_of(camera, rotation, orientation);
    EXPECT_NEAR(line.roll_deg, 12, 1e-9) << orientation;
    // A far point straight above another one, as stored: which way is up?
    const Vec3 ahead = rotation.forward * 100.0;
    const Vec3 above = rotation.to_camera(ahead + Vec3{0, 0, 1}), at = rotation.to_camera(ahead);
    const Vec2 up = project(camera, above) - project(camera, at);
    // Stored column 0 is the displayed top for 6 and the bottom for 8.
    const double along[] = {0, -up.y, 0, up.y, 0, 0, -up.x, 0, up.x};
    EXPECT_GT(along[orientation], 0) << orientation;
  }
}

}  // namespace
}  // namespace render
