#include <gtest/gtest.h>

#include <Eigen/Dense>
#include <cmath>

#include "stages/rectify/rectify.h"

namespace lookdown::rectify {
namespace {

Homography<Ground, UndistortedPx> some_homography() {
  Homography<Ground, UndistortedPx> h;
  h.matrix << 0.02, 0.001, -12, -0.002, -0.019, 30, 1e-5, 4e-5, 1;
  return h;
}

TEST(FitHomography, FourExactMarksGiveBackTheMap) {
  const auto truth = some_homography();
  const std::vector<Point2<UndistortedPx>> frame{{0, 0}, {1600, 40}, {1580, 1060}, {20, 1000}};
  std::vector<Point2<Ground>> ground;
  for (const auto& p : frame) ground.push_back(truth * p);
  const auto fitted = fit_homography(frame, ground);
  ASSERT_TRUE(fitted);
  for (const Point2<UndistortedPx> p : {Point2<UndistortedPx>{800, 500}, {100, 900}, {1599, 1}}) {
    EXPECT_NEAR((*fitted * p).x, (truth * p).x, 1e-7);
    EXPECT_NEAR((*fitted * p).y, (truth * p).y, 1e-7);
  }
  for (const auto& p : frame) EXPECT_GT(fitted->depth(p), 0);
}

// Distances on the ground are what is minimised: the gradient of their squares vanishes at the fit.
TEST(FitHomography, NoSmallChangeOfTheFitBringsNoisyMarksNearer) {
  const auto truth = some_homography();
  std::vector<Point2<UndistortedPx>> frame;
  std::vector<Point2<Ground>> ground;
  for (int i = 0; i < 5; ++i)
    for (int j = 0; j < 4; ++j) {
      frame.push_back({100.0 + 340 * i, 80.0 + 310 * j});
      ground.push_back(truth * frame.back());
      ground.back().x += 0.05 * std::sin(13.0 * i + 7 * j);
      ground.back().y += 0.05 * std::cos(5.0 * i + 11 * j);
    }
  const auto fitted = fit_homography(frame, ground);
  ASSERT_TRUE(fitted);
  const auto cost = [&](const Eigen::Matrix3d& m) {
    double sum = 0;
    const Homography<Ground, UndistortedPx> h{m};
    for (std::size_t i = 0; i < frame.size(); ++i)
      sum += std::pow((h * frame[i]).x - ground[i].x, 2) + std::pow((h * frame[i]).y - ground[i].y, 2);
    return sum;
  };
  const double best = cost(fitted->matrix);
  EXPECT_LT(best, cost(truth.matrix));
  for (int k = 0; k < 9; ++k)
    for (const double share : {1e-4, -1e-4}) {
      Eigen::Matrix3d nudged = fitted->matrix;
      nudged(k / 3, k % 3) *= 1 + share;
      EXPECT_GE(cost(nudged), best);
    }
}

TEST(FitHomography, MarksOnOneLineAreRefused) {
  const auto fitted = fit_homography({{0, 0}, {1, 1}, {2, 2}, {3, 3}}, {{0, 0}, {1, 0}, {2, 0}, {3, 0}});
  ASSERT_FALSE(fitted);
  EXPECT_NE(fitted.error().message().find("line"), std::string::npos);
}

TEST(FitHomography, ThreeMarksAreRefused) {
  EXPECT_FALSE(fit_homography({{0, 0}, {1, 0}, {0, 1}}, {{0, 0}, {1, 0}, {0, 1}}));
}

}  // namespace
}  // namespace lookdown::rectify
