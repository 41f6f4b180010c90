#include "stages/level/search/horizon_choice.h"

#include <gtest/gtest.h>

#include <cmath>

#include "pipeline/base/angles.h"

namespace lookdown::level {
namespace {

/// `above_px` the middle of 1000 x 600.
HorizonGuess guess(double roll_deg, double fine_share, double log_odds, double above_px = 0) {
  HorizonGuess g;
  const double nx = std::sin(roll_deg * kDegree), ny = -std::cos(roll_deg * kDegree);
  g.refined.line = {nx, ny, -(nx * 500 + ny * 300) - above_px};
  g.refined.support.fine_share = fine_share;
  g.log_odds = log_odds;
  return g;
}

double roll_of(const Eigen::Vector3d& line) {
  return std::atan2(line.x(), -line.y()) / kDegree;
}

TEST(ChooseHorizon, AStraightEdgeIsTakenAsItIs) {
  const auto choice = choose_horizon({guess(2, 0.95, 3), guess(4, 0.3, 2.9)}, {1000, 600});
  EXPECT_NEAR(roll_of(choice.refined.line), 2, 1e-9);
}

// Two equally likely lines 2 degrees apart: their mean, and a spread of one degree (derived).
TEST(ChooseHorizon, OverHillsEquallyLikelyLinesAreAveraged) {
  const auto choice = choose_horizon({guess(2, 0.4, 3), guess(4, 0.3, 3)}, {1000, 600});
  EXPECT_NEAR(roll_of(choice.refined.line), 3, 1e-6);
  EXPECT_NEAR(choice.roll_spread_rad / kDegree, 1, 1e-6);
}

TEST(ChooseHorizon, AFarOffRivalIsNotMixedInButMakesTheAnswerLessSure) {
  const auto choice = choose_horizon({guess(2, 0.4, 3), guess(-18, 0.3, 3)}, {1000, 600});
  EXPECT_NEAR(roll_of(choice.refined.line), 2, 1e-6);
  EXPECT_GT(choice.roll_spread_rad / kDegree, 10);
}

HorizonGuess ridge(double roll_deg, double log_odds, double above_px, double own_step) {
  HorizonGuess g = guess(roll_deg, 0.5, log_odds, above_px);
  g.refined.support.inlier_share = 0.8;
  g.refined.support.coherence = 0.5;
  g.refined.support.profile.own_step = own_step;
  return g;
}

TEST(ChooseHorizon, TheFarRidgeIsTakenThoughTheNearOneIsLikelier) {
  const auto choice = choose_horizon({ridge(4, 5, 0, 3), ridge(1, 3.5, 30, 0.8)}, {1000, 600});
  EXPECT_NEAR(roll_of(choice.refined.line), 1, 1e-6);
  EXPECT_GT(choice.roll_spread_rad / kDegree, 2) << "the choice between the two is left open";
}

TEST(ChooseHorizon, ASkyThatDarkensUpwardHasNoEdge) {
  HorizonGuess slow_change = ridge(1, 3.5, 30, 0.8);
  slow_change.refined.support.coherence = 0.22;
  const auto choice = choose_horizon({ridge(4, 5, 0, 3), slow_change}, {1000, 600});
  EXPECT_NEAR(roll_of(choice.refined.line), 4, 1e-6);
}

TEST(ChooseHorizon, NeitherABankOfCloudNorWhatIsMuchLessLikelyStandsInForARidge) {
  const HorizonGuess near = ridge(4, 5, 0, 3);
  EXPECT_NEAR(roll_of(choose_horizon({near, ridge(1, 3.5, 30, 0.2)}, {1000, 600}).refined.line), 4, 1e-6);
  EXPECT_NEAR(roll_of(choose_horizon({near, ridge(1, 1.0, 30, 0.8)}, {1000, 600}).refined.line), 4, 1e-6);
  EXPECT_NEAR(roll_of(choose_horizon({near, ridge(1, 3.5, 200, 0.8)}, {1000, 600}).refined.line), 4, 1e-6);
}

}  // namespace
}  // namespace lookdown::level
