#include "stages/level/lines/straight_line.h"

#include <gtest/gtest.h>

#include <cmath>
#include <opencv2/imgproc.hpp>

#include "stages/level/lines/horizon_refine.h"

namespace lookdown::level {
namespace {

Camera plain_camera(const cv::Mat& picture) {
  return assumed_camera(picture.cols, picture.rows);
}

/// Sky over a sea that differs from it by `contrast` grey levels, and a dark shore that runs `shore_slope`
/// askew below the sea horizon y = 240 + slope (x - 480).
cv::Mat3b coast(double slope, double contrast, double shore_slope, unsigned seed) {
  cv::RNG random(seed);
  cv::Mat3b picture(600, 960);
  for (int y = 0; y < picture.rows; ++y)
    for (int x = 0; x < picture.cols; ++x) {
      const double sea = y - (240 + slope * (x - 480)), shore = y - (262 + (slope + shore_slope) * (x - 480));
      const double level = shore > 0 && shore > sea - 60 ? 70 : sea > 0 ? 180 - contrast : 180;
      picture(y, x) = cv::Vec3b::all(cv::saturate_cast<uchar>(level + random.gaussian(2.5)));
    }
  cv::GaussianBlur(picture, picture, {}, 1.0);
  return picture;
}

// A step of 5 grey levels under noise of 2.5: at no profile sure, along the whole line certain.
TEST(CoherentLines, AWeakStraightHorizonIsFoundAboveAStrongShore) {
  for (const double slope : {0.0, 0.03, -0.05}) {
    const cv::Mat3b picture = coast(slope, 5, 0.05, 7);
    // A first line that follows neither.
    const Eigen::Vector3d first(0, -1, 255);
    const LineFrame frame = line_frame(first, picture.size());
    const auto lines = coherent_lines(sample_profiles(picture, plain_camera(picture), frame, 60), 3, 3);
    ASSERT_FALSE(lines.empty());
    bool found = false;
    for (const CoherentLine& line : lines) {
      const Eigen::Vector3d l = line_of(frame, line.course);
      found |= std::abs(-l.x() / l.y() - slope) < 0.006 && std::abs(l.dot(Eigen::Vector3d(480, 240, 1))) < 3;
    }
    EXPECT_TRUE(found) << "slope " << slope;
  }
}

TEST(CoherentLines, RefinementPlacesTheWeakHorizonToATenthOfADegree) {
  const double slope = 0.02;
  const cv::Mat3b picture = coast(slope, 6, 0.05, 11);
  bool found = false;
  for (const RefinedLine& refined :
       refine_straight(picture, plain_camera(picture), {Eigen::Vector3d(0, -1, 255)})) {
    const double turn = std::atan(-refined.line.x() / refined.line.y()) - std::atan(slope);
    found |= std::abs(turn) < 0.1 * 3.14159265 / 180 &&
             std::abs(refined.line.dot(Eigen::Vector3d(480, 240, 1))) < 1;
  }
  EXPECT_TRUE(found);
}

// A cable 4 px thick across an even sky: the same on both sides, so no edge between two things.
TEST(CoherentLines, ACableIsNoHorizon) {
  cv::Mat3b sky(400, 640, cv::Vec3b::all(180));
  cv::line(sky, {0, 190}, {639, 210}, cv::Scalar::all(90), 4, cv::LINE_AA);
  cv::Mat3b noise(sky.size());
  cv::RNG(5).fill(noise, cv::RNG::NORMAL, cv::Scalar::all(10), cv::Scalar::all(2));
  sky += noise;
  cv::GaussianBlur(sky, sky, {}, 1.0);
  EXPECT_TRUE(refine_straight(sky, plain_camera(sky), {Eigen::Vector3d(0, -1, 200)}).empty());
}

TEST(CoherentLines, NoiseAloneIsNotCoherent) {
  cv::Mat3b noise(400, 640);
  cv::RNG(3).fill(noise, cv::RNG::NORMAL, cv::Scalar::all(120), cv::Scalar::all(8));
  const LineFrame frame = line_frame(Eigen::Vector3d(0, -1, 200), noise.size());
  const auto lines = coherent_lines(sample_profiles(noise, plain_camera(noise), frame, 40), 3, 3);
  ASSERT_FALSE(lines.empty());  // the most coherent ones are returned, however weak
  for (const CoherentLine& line : lines) EXPECT_LT(line.coherence, 0.3);
}

}  // namespace
}  // namespace lookdown::level
