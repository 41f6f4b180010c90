// Skylines drawn with a hill on a third of the width: the line of least absolute deviations (Koenker &
// Bassett, Econometrica 46:33, 1978, the regression median) keeps to the level part, whose course is known as
// drawn.
#include "stages/level/lines/skyline_course.h"

#include <gtest/gtest.h>

#include <cmath>
#include <opencv2/imgproc.hpp>

#include "pipeline/base/angles.h"

namespace lookdown::level {
namespace {

/// A light sky over dark ground, 600 x 400, the skyline level at y = 200 but for a hill of straight slopes.
cv::Mat3b hill(int from_px, int top_px, int to_px, int height_px) {
  cv::Mat3b picture(400, 600, cv::Vec3b(220, 205, 190));
  const std::vector<cv::Point> ground{{0, 400},     {0, 200},   {from_px, 200}, {top_px, 200 - height_px},
                                      {to_px, 200}, {600, 200}, {600, 400}};
  cv::fillPoly(picture, std::vector<std::vector<cv::Point>>{ground}, cv::Scalar(40, 70, 55));
  cv::GaussianBlur(picture, picture, {}, 1.0);
  return picture;
}

Camera plain_camera() {
  Camera camera = assumed_camera(600, 400);
  camera.k1 = camera.k2 = camera.k3 = 0;
  return camera;
}

double roll_deg(const Eigen::Vector3d& line) {
  return std::atan2(line.x(), -line.y()) / kDegree;
}

TEST(SkylineCourse, ALineAlongOneSlopeOfAHillComesBackToTheLevel) {
  const cv::Mat3b picture = hill(180, 330, 400, 14);  // 150 px of slope at 5.3 degrees
  // Along the slope's upper half and out into the sky.
  const double slope = 4 * kDegree;
  const Eigen::Vector3d normal(-std::sin(slope), -std::cos(slope), 0);
  Eigen::Vector3d first = normal;
  first.z() = -normal.dot(Eigen::Vector3d(300, 190, 0));
  const auto course = skyline_course(picture, plain_camera(), first);
  ASSERT_TRUE(course);
  EXPECT_NEAR(roll_deg(course->line), 0, 0.3);
  EXPECT_NEAR(-course->line.z() / course->line.y(), 200, 1.5) << "where it crosses the left rim";
}

TEST(SkylineCourse, ALevelSkylineStaysWhereItIs) {
  const auto course = skyline_course(hill(200, 200, 200, 0), plain_camera(), {0, -1, 200});
  ASSERT_TRUE(course);
  EXPECT_NEAR(roll_deg(course->line), 0, 0.02);
  EXPECT_LT(course->roll_spread_rad / kDegree, 0.05);
}

TEST(SkylineCourse, AnEvenPictureHasNone) {
  EXPECT_FALSE(skyline_course(cv::Mat3b(400, 600, cv::Vec3b(90, 120, 100)), plain_camera(), {0, -1, 200}));
}

}  // namespace
}  // namespace lookdown::level
