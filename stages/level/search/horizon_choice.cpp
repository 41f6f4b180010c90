#include "stages/level/search/horizon_choice.h"

#include <cmath>
#include <numbers>

namespace lookdown::level {
namespace {

constexpr double kNearbyTurn = 4 * std::numbers::pi / 180;
constexpr double kStraightShare = 0.8;  // of the profiles within a pixel or two: a straight edge

/// Angle from one line to another, positive clockwise as the picture is stored.
double turn_between(const Eigen::Vector3d& from, const Eigen::Vector3d& to) {
  return std::atan2(from.x() * to.y() - from.y() * to.x(), from.head<2>().dot(to.head<2>()));
}

}  // namespace

HorizonChoice choose_horizon(const std::vector<HorizonGuess>& guesses, const cv::Size& picture) {
  const HorizonGuess& best = guesses.front();
  const Eigen::Vector3d middle(0.5 * picture.width, 0.5 * picture.height, 1);
  Eigen::Vector3d sum = Eigen::Vector3d::Zero();
  for (const HorizonGuess& guess : guesses)
    if (std::abs(turn_between(best.refined.line, guess.refined.line)) < kNearbyTurn)
      sum += std::exp(guess.log_odds - best.log_odds) * guess.refined.line;
  HorizonChoice choice{best.refined};
  if (best.refined.support.fine_share < kStraightShare) choice.refined.line = sum / sum.head<2>().norm();
  double weights = 0, roll = 0, across = 0;
  for (const HorizonGuess& guess : guesses) {
    const double weight = std::exp(guess.log_odds - best.log_odds);
    const double turn = turn_between(choice.refined.line, guess.refined.line);
    const double shift = guess.refined.line.dot(middle) - choice.refined.line.dot(middle);
    weights += weight;
    roll += weight * turn * turn;
    across += weight * shift * shift;
  }
  choice.roll_spread_rad = std::sqrt(roll / weights);
  choice.across_spread_px = std::sqrt(across / weights);
  return choice;
}

}  // namespace lookdown::level
