// Rectangles of roofs, in made views: what is asked for is where they were drawn.
#include <gtest/gtest.h>

#include <opencv2/imgproc.hpp>

#include "stages/surface/roofs/rectangle.h"

namespace lookdown::surface {
namespace {

constexpr int kWidth = 160, kHeight = 140;
const Corners kRoof{cv::Point2d(40, 38), {112, 52}, {104, 94}, {32, 80}};

void fill(cv::Mat& picture, const Corners& corners, double level) {
  cv::Mat fine, mask = cv::Mat::zeros(kHeight * 8, kWidth * 8, CV_8UC1);
  std::vector<cv::Point> points;
  for (const cv::Point2d& c : corners)
    points.emplace_back(cvRound((c.x + 0.5) * 8 - 0.5), cvRound((c.y + 0.5) * 8 - 0.5));
  cv::fillConvexPoly(mask, points, cv::Scalar(255));
  cv::resize(mask, fine, picture.size(), 0, 0, cv::INTER_AREA);
  for (int row = 0; row < kHeight; ++row)
    for (int column = 0; column < kWidth; ++column) {
      const double share = fine.at<uchar>(row, column) / 255.0;
      uchar& value = picture.at<uchar>(row, column);
      value = cv::saturate_cast<uchar>((1 - share) * value + share * level);
    }
}

Corners moved(Corners corners, cv::Point2d by) {
  for (cv::Point2d& c : corners) c += by;
  return corners;
}

/// The roof with its shadow on the ground, which lies `shadow_at` in a view laid on the roof's height.
cv::Mat view(cv::Point2d shadow_at, int seed) {
  cv::Mat picture(kHeight, kWidth, CV_8UC1, cv::Scalar(110)), grain(picture.size(), CV_8SC1);
  fill(picture, moved(kRoof, shadow_at), 40);
  fill(picture, kRoof, 170);
  cv::RNG random(seed);
  random.fill(grain, cv::RNG::NORMAL, 0, 4);
  cv::add(picture, grain, picture, cv::noArray(), CV_8U);
  return picture;
}

double farthest_corner(const Corners& found) {
  double farthest = 0;
  for (const cv::Point2d& truth : kRoof) {
    double nearest = 1e30;
    for (const cv::Point2d& c : found) nearest = std::min(nearest, cv::norm(c - truth));
    farthest = std::max(farthest, nearest);
  }
  return farthest;
}

RoofLook three_views() {
  return {{view({18, 8}, 1), view({9, 20}, 2), view({24, -6}, 3)}, cv::Mat::zeros(kHeight, kWidth, CV_32FC1)};
}

TEST(RoofRectangle, SidesAreFoundAmidShadowsThatLieElsewhereInEveryView) {
  const RoofLook look = three_views();
  Corners start = moved(kRoof, {5, -4});
  start[1] += cv::Point2d(4, -3);
  const Corners found = fitted(look, start, 16);
  EXPECT_LT(farthest_corner(found), 1);
  EXPECT_GT(steps_at(look, found).faintest, 10);
}

TEST(RoofRectangle, ABoxAlongTheEdgesTurnsAsTheRoofDoes) {
  const RoofLook look = three_views();
  const cv::Mat marks = filled({cv::Point2d(50, 50), {90, 55}, {88, 80}, {48, 76}}, {kWidth, kHeight});
  EXPECT_LT(farthest_corner(fitted(look, box_along_edges(look, marks), 28)), 1);
}

TEST(RoofRectangle, ABorderOfTheGroundThatOneViewShowsIsNotTheSide) {
  cv::Mat only = view({4, 4}, 4);
  cv::rectangle(only, {126, 0}, {kWidth, kHeight}, cv::Scalar(10), cv::FILLED);
  const RoofLook look{{only}, cv::Mat::zeros(kHeight, kWidth, CV_32FC1)};
  EXPECT_LT(farthest_corner(fitted(look, moved(kRoof, {2, 0}), 24)), 1.5);
}

TEST(RoofRectangle, ARoofThatTheViewsAgreeOnGoesOnBeyondALineOnIt) {
  RoofLook look = three_views();
  for (cv::Mat& one : look.views)
    fill(one, {cv::Point2d(88, 48), {90, 48.4}, {82, 90}, {80, 89.6}}, 156);  // a ridge across
  look.likeness.setTo(4, filled(kRoof, {kWidth, kHeight}));
  Corners start = kRoof;
  start[1] = {84, 46.6};
  start[2] = {76, 88.6};
  EXPECT_LT(farthest_corner(fitted(look, start, 34)), 1.5);
}

TEST(RoofRectangle, ASideAmidTheRoofShowsNoStep) {
  Corners half = kRoof;
  half[1] = 0.5 * (kRoof[0] + kRoof[1]);
  half[2] = 0.5 * (kRoof[3] + kRoof[2]);
  EXPECT_LT(steps_at(three_views(), half).faintest, 2);
}

}  // namespace
}  // namespace lookdown::surface
