// Where a frame shows the sun mirrored: masks drawn by Cox and Munk's facet density (tested against published
// values).
#include "stages/glare/sun/mirror_in_frame.h"

#include <gtest/gtest.h>

#include <Eigen/Geometry>
#include <cmath>
#include <random>

#include "pipeline/base/angles.h"
#include "pipeline/geometry/pose.h"
#include "pipeline/geometry/sun_and_water.h"

namespace lookdown::glare {
namespace {

Camera wide_camera() {
  Camera camera = assumed_camera(1200, 800);
  camera.fx_px = camera.fy_px = 933;
  return camera;
}

Pose askew(double off_nadir_deg, double axis_rad) {
  Pose pose = straight_down({0, 0, 30}, 0.3);
  pose.world_from_camera =
      Eigen::AngleAxisd(off_nadir_deg * kDegree, Eigen::Vector3d(std::cos(axis_rad), std::sin(axis_rad), 0)) *
      pose.world_from_camera;
  return pose;
}

/// Specks of four pixels on the water left of `shore_x`; as dense as facets that mirror the sun, or even.
FrameMasks glitter(const Pose& pose, const SunPosition& sun, double mean_square_slope, int shore_x, bool even,
                   unsigned seed) {
  const Camera camera = wide_camera();
  FrameMasks masks{cv::Mat::zeros(800, 1200, CV_8UC1), cv::Mat::zeros(800, 1200, CV_8UC1)};
  masks.water.colRange(0, shore_x).setTo(255);
  std::mt19937 random(seed);
  std::uniform_real_distribution<double> share(0, 1);
  for (int y = 0; y < 800; y += 2)
    for (int x = 0; x < shore_x; x += 2) {
      const Eigen::Vector3d to_viewer =
          -(pose.world_from_camera * camera.ray(camera.undistort({double(x), double(y)})));
      const double density =
          facet_density(sun_direction(sun), to_viewer, mean_square_slope) * M_PI * mean_square_slope;
      if (share(random) < (even ? 0.03 : 0.8 * density)) masks.glare(cv::Rect(x, y, 2, 2)).setTo(255);
    }
  return masks;
}

TEST(MirrorInFrame, IsFoundWhereTheGlitterPointsThoughTheTiltIsNotKnown) {
  double squares = 0;
  int count = 0;
  for (int k = 0; k < 6; ++k) {
    const Pose pose = askew(2.0 * k, 1.1 * k);
    const SunPosition sun{72, 50.0 * k};
    const auto found = mirror_in_frame(glitter(pose, sun, 0.006, 1200, false, k), wide_camera(), {});
    const Eigen::Vector3d truth = pose.world_from_camera.transpose() * *mirror_ray(sun);
    ASSERT_TRUE(found) << k;
    const Eigen::Vector3d seen(found->toward[0], found->toward[1], found->toward[2]);
    const double off_deg = std::atan2(seen.cross(truth).norm(), seen.dot(truth)) / kDegree;
    EXPECT_LT(off_deg, 1.5) << k;
    squares += off_deg * off_deg;
    ++count;
  }
  EXPECT_LT(std::sqrt(squares / count), 1);
}

// A shore through the glitter takes half of it away; its middle is still that of the whole.
TEST(MirrorInFrame, IsNotDrawnAsideByAShore) {
  const Pose pose = straight_down({0, 0, 30}, 0);
  const SunPosition sun{80, 90};  // mirrored to the right of the middle, at x = 764
  const auto found = mirror_in_frame(glitter(pose, sun, 0.004, 780, false, 4), wide_camera(), {});
  ASSERT_TRUE(found);
  const Eigen::Vector3d truth = pose.world_from_camera.transpose() * *mirror_ray(sun);
  const Eigen::Vector3d seen(found->toward[0], found->toward[1], found->toward[2]);
  EXPECT_LT(std::atan2(seen.cross(truth).norm(), seen.dot(truth)) / kDegree, 2.5);
}

TEST(MirrorInFrame, FlecksSpreadEvenlyAreNoMirrorPoint) {
  EXPECT_FALSE(
      mirror_in_frame(glitter(straight_down({0, 0, 30}), {70, 0}, 0.006, 1200, true, 3), wide_camera(), {}));
}

}  // namespace
}  // namespace lookdown::glare
