#include "pipeline/geometry/camera.h"

#include <gtest/gtest.h>

#include <cmath>
#include <opencv2/calib3d.hpp>

namespace lookdown {
namespace {

Camera barrel() {
  Camera camera = assumed_camera(1600, 1067);
  camera.k1 = -0.12;
  camera.k2 = 0.03;
  camera.p1 = 0.0008;
  camera.p2 = -0.0005;
  camera.k3 = -0.002;
  return camera;
}

Camera fisheye() {
  Camera camera = assumed_camera(1600, 1067);
  camera.projection = Projection::equidistant;
  camera.fx_px = camera.fy_px = 800;  // 69 degrees off axis in the corners
  camera.k1 = 0.03;
  camera.k2 = -0.01;
  camera.k3 = 0.002;
  return camera;
}

void expect_there_and_back(const Camera& camera) {
  for (double x = 0; x < 1600; x += 133)
    for (double y = 0; y < 1067; y += 97) {
      const auto back = camera.distort(camera.undistort({x, y}));
      EXPECT_NEAR(back.x, x, 1e-5);
      EXPECT_NEAR(back.y, y, 1e-5);
    }
}

TEST(Camera, UndistortUndoesDistortEverywhereInTheFrame) {
  expect_there_and_back(barrel());
  expect_there_and_back(fisheye());
}

// OpenCV's calib3d is the reference for the model and the order of its terms.
TEST(Camera, DistortionAgreesWithOpenCv) {
  const Camera camera = barrel();
  const cv::Mat matrix =
      (cv::Mat_<double>(3, 3) << camera.fx_px, 0, camera.cx_px, 0, camera.fy_px, camera.cy_px, 0, 0, 1);
  const std::vector<double> terms{camera.k1, camera.k2, camera.p1, camera.p2, camera.k3};
  for (const cv::Point2d corner :
       {cv::Point2d(0, 0), cv::Point2d(1599, 0), cv::Point2d(800, 533), cv::Point2d(120, 1040)}) {
    const cv::Point3d ray((corner.x - camera.cx_px) / camera.fx_px, (corner.y - camera.cy_px) / camera.fy_px,
                          1);
    std::vector<cv::Point2d> seen;
    cv::projectPoints(std::vector<cv::Point3d>{ray}, cv::Vec3d(), cv::Vec3d(), matrix, terms, seen);
    const auto ours = camera.distort({corner.x, corner.y});
    EXPECT_NEAR(ours.x, seen[0].x, 1e-9);
    EXPECT_NEAR(ours.y, seen[0].y, 1e-9);
  }
}

// OpenCV's cv::fisheye is the reference for the projection and the order of its terms.
TEST(Camera, FisheyeProjectionAgreesWithOpenCv) {
  const Camera camera = fisheye();
  const cv::Matx33d matrix(camera.fx_px, 0, camera.cx_px, 0, camera.fy_px, camera.cy_px, 0, 0, 1);
  for (const cv::Point2d tangents : {cv::Point2d(0, 0), cv::Point2d(1e-5, 0), cv::Point2d(0.3, -0.2),
                                     cv::Point2d(-1.4, 0.9), cv::Point2d(0.1, 2.2)}) {
    std::vector<cv::Point2d> seen;
    cv::fisheye::distortPoints(std::vector<cv::Point2d>{tangents}, seen, matrix,
                               cv::Vec4d(camera.k1, camera.k2, camera.k3, 0));
    const auto ours =
        camera.distort({tangents.x * camera.fx_px + camera.cx_px, tangents.y * camera.fy_px + camera.cy_px});
    EXPECT_NEAR(ours.x, seen[0].x, 1e-6);
    EXPECT_NEAR(ours.y, seen[0].y, 1e-6);
  }
}

// An equidistant lens shows d(angle) = cos^2(angle) d(tangent) along the radius: a quarter at 60 degrees.
TEST(Camera, ReachOfAFisheyeIsWhereItMagnifiesAQuarter) {
  Camera camera = assumed_camera(1000, 1000);
  camera.projection = Projection::equidistant;
  EXPECT_NEAR(camera.reach_px(0.25), std::tan(60 * CV_PI / 180) * camera.fx_px, 0.02 * camera.fx_px);
  EXPECT_DOUBLE_EQ(camera.magnification(0), 1);
}

TEST(Camera, ScalingKeepsPixelCentres) {
  const Camera half = barrel().scaled(0.5);
  const Camera full = barrel();
  const auto at_full = full.undistort({301, 207});
  const auto at_half = half.undistort({(301 + 0.5) / 2 - 0.5, (207 + 0.5) / 2 - 0.5});
  EXPECT_NEAR((at_full.x + 0.5) / 2 - 0.5, at_half.x, 1e-6);
  EXPECT_NEAR((at_full.y + 0.5) / 2 - 0.5, at_half.y, 1e-6);
}

// d(r (1 + k1 r^2))/dr = 0 at r = sqrt(1 / (3 |k1|)).
TEST(Camera, MonotonicRadiusIsWhereTheRadialModelFolds) {
  Camera camera = assumed_camera(1000, 1000);
  camera.k1 = -0.2;
  EXPECT_NEAR(camera.monotonic_radius_px() / camera.fx_px, std::sqrt(1 / 0.6), 0.011);
  camera.k1 = 0.1;
  EXPECT_TRUE(std::isinf(camera.monotonic_radius_px()));
}

// 1 - 3 |k1| r^2 = 0.25 at r = sqrt(0.75 / (3 |k1|)): a barrel shrinks along the radius first. A pincushion
// grows least across it, and nowhere less than at the centre.
TEST(Camera, ReachIsWhereTheLensMagnifiesTooLittle) {
  Camera camera = assumed_camera(1000, 1000);
  EXPECT_DOUBLE_EQ(camera.magnification(1.2), 1);
  camera.k1 = -0.2;
  EXPECT_NEAR(camera.magnification(0.5), 1 - 0.6 * 0.25, 1e-12);
  EXPECT_NEAR(camera.reach_px(0.25) / camera.fx_px, std::sqrt(0.75 / 0.6), 0.011);
  // Farther out the model grows again, which no lens does.
  camera.k2 = 0.02;
  EXPECT_NEAR(camera.magnification(3), 1 - 0.2 * 9 + 0.02 * 81, 1e-12);
  EXPECT_LT(camera.reach_px(0.25) / camera.fx_px, 1.5);
  camera.k1 = 0.1;
  camera.k2 = 0;
  EXPECT_NEAR(camera.magnification(0.5), 1 + 0.1 * 0.25, 1e-12);
}

}  // namespace
}  // namespace lookdown
