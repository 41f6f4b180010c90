#include "stages/level/search/horizon_choice.h"

#include <gtest/gtest.h>

#include <cmath>

namespace lookdown::level {
namespace {

constexpr double kDegrees = 3.14159265358979323846 / 180;

HorizonGuess guess(double roll_deg, double fine_share, double log_odds) {
  HorizonGuess g;
  const double nx = std::sin(roll_deg * kDegrees), ny = -std::cos(roll_deg * kDegrees);
  g.refined.line = {nx, ny, -(nx * 500 + ny * 300)};  // through the middle of 1000 x 600
  g.refined.support.fine_share = fine_share;
  g.log_odds = log_odds;
  return g;
}

double roll_of(const Eigen::Vector3d& line) {
  return std::atan2(line.x(), -line.y()) / kDegrees;
}

TEST(ChooseHorizon, AStraightEdgeIsTakenAsItIs) {
  const auto choice = choose_horizon({guess(2, 0.95, 3), guess(4, 0.3, 2.9)}, {1000, 600});
  EXPECT_NEAR(roll_of(choice.refined.line), 2, 1e-9);
}

// Two equally likely lines 2 degrees apart: their mean, and a spread of one degree (derived).
TEST(ChooseHorizon, OverHillsEquallyLikelyLinesAreAveraged) {
  const auto choice = choose_horizon({guess(2, 0.4, 3), guess(4, 0.3, 3)}, {1000, 600});
  EXPECT_NEAR(roll_of(choice.refined.line), 3, 1e-6);
  EXPECT_NEAR(choice.roll_spread_rad / kDegrees, 1, 1e-6);
}

TEST(ChooseHorizon, AFarOffRivalIsNotMixedInButMakesTheAnswerLessSure) {
  const auto choice = choose_horizon({guess(2, 0.4, 3), guess(-18, 0.3, 3)}, {1000, 600});
  EXPECT_NEAR(roll_of(choice.refined.line), 2, 1e-6);
  EXPECT_GT(choice.roll_spread_rad / kDegrees, 10);
}

}  // namespace
}  // namespace lookdown::level
