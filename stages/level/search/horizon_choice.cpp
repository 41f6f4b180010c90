#include "stages/level/search/horizon_choice.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <opencv2/imgproc.hpp>

#include "pipeline/base/angles.h"
#include "stages/level/lines/skyline_course.h"

namespace lookdown::level {
namespace {

// Of the guesses' log-odds below the likeliest: the contrast of a far ridge fades with its distance in haze
// (Koschmieder's law), so that what stands nearer looks likelier by that much and is still not the horizon.
// Chosen on real frames of small wide cameras.
constexpr double kFadedBy = 4;
constexpr double kNearbyTurn = 4 * kDegree;
// Shares of the long side: lines nearer to each other follow one ridge; land that lies farther apart than the
// second is no ridge behind ridges.
constexpr double kSameRidge = 0.008, kHighestRidge = 0.12;
// ProfileTerms::own_step of a ridge: banks of cloud above the horizon step by a fifth of the sky's own
// spread.
constexpr double kLeastOwnStep = 0.4;
// LineSupport::coherence: what a clear sky that darkens upward looks like an edge at has at most 0.25, ridges
// in all hazes have 0.38 and more.
constexpr double kLeastCoherence = 0.3;
constexpr double kLeastInliers =
    0.5;  // of the profiles: a ridge goes right across, a bank of cloud ends somewhere
/// Of the profiles with their edge on the line: of drawn ridges in haze it is 0.96 and more, of lines that
/// follow one slope of a hill and leave the skyline elsewhere at most 0.8.
constexpr double kWholeShare = 0.9;
constexpr double kStraightShare = 0.8;  // of the profiles within a pixel or two: a straight edge

/// Angle from one line to another, positive clockwise as the picture is stored.
double turn_between(const Eigen::Vector3d& from, const Eigen::Vector3d& to) {
  return std::atan2(from.x() * to.y() - from.y() * to.x(), from.head<2>().dot(to.head<2>()));
}

/// How far `other` stands on the sky side of `line` at the middle of the picture, in shares of its long side.
double above(const Eigen::Vector3d& line, const Eigen::Vector3d& other, const cv::Size& picture) {
  const Eigen::Vector3d middle(0.5 * picture.width, 0.5 * picture.height, 1);
  return (line.dot(middle) - other.dot(middle)) / std::max(picture.width, picture.height);
}

/// The farthest edge that still parts land from sky: of the lines that are nearly as likely as the likeliest
/// and run beside it, the one nearest to the sky.
const HorizonGuess& farthest(const std::vector<HorizonGuess>& guesses, const cv::Size& picture) {
  const HorizonGuess& best = guesses.front();
  const HorizonGuess* chosen = &best;
  double highest = 0;
  for (const HorizonGuess& guess : guesses) {
    const double by = above(best.refined.line, guess.refined.line, picture);
    if (guess.log_odds > 0 && guess.log_odds > best.log_odds - kFadedBy && by > highest + kSameRidge &&
        by < kHighestRidge && guess.refined.support.profile.own_step > kLeastOwnStep &&
        guess.refined.support.coherence > kLeastCoherence &&
        guess.refined.support.inlier_share > kLeastInliers &&
        std::abs(turn_between(best.refined.line, guess.refined.line)) < kNearbyTurn) {
      chosen = &guess;
      highest = by;
    }
  }
  return *chosen;
}

}  // namespace

HorizonChoice choose_horizon(const std::vector<HorizonGuess>& guesses, const cv::Size& picture) {
  const HorizonGuess& best = farthest(guesses, picture);
  Eigen::Vector3d sum = Eigen::Vector3d::Zero();
  for (const HorizonGuess& guess : guesses)
    if (std::abs(turn_between(best.refined.line, guess.refined.line)) < kNearbyTurn &&
        std::abs(above(best.refined.line, guess.refined.line, picture)) < kSameRidge)
      sum += std::exp(guess.log_odds - best.log_odds) * guess.refined.line;
  HorizonChoice choice{best.refined};
  if (best.refined.support.fine_share < kStraightShare) choice.refined.line = sum / sum.head<2>().norm();
  double weights = 0, roll = 0, across = 0;
  for (const HorizonGuess& guess : guesses) {
    const double weight = std::exp(guess.log_odds - guesses.front().log_odds);
    const double turn = turn_between(choice.refined.line, guess.refined.line);
    const double shift_px =
        above(choice.refined.line, guess.refined.line, picture) * std::max(picture.width, picture.height);
    weights += weight;
    roll += weight * turn * turn;
    across += weight * shift_px * shift_px;
  }
  choice.roll_spread_rad = std::sqrt(roll / weights);
  choice.across_spread_px = std::sqrt(across / weights);
  return choice;
}

HorizonChoice choose_horizon(const std::vector<HorizonGuess>& guesses, const cv::Mat3b& bgr,
                             const Camera& camera) {
  HorizonChoice choice = choose_horizon(guesses, bgr.size());
  // What nearly all profiles see is a skyline already, be it the faint one of a ridge behind a strong one.
  if (choice.refined.support.fine_share >= kStraightShare ||
      choice.refined.support.inlier_share >= kWholeShare)
    return choice;
  cv::Mat3b blurred;
  cv::GaussianBlur(bgr, blurred, {}, 1.0);
  const auto course = skyline_course(blurred, camera, choice.refined.line);
  if (!course) return choice;
  choice.refined.line = course->line;
  choice.roll_spread_rad = std::hypot(choice.roll_spread_rad, course->roll_spread_rad);
  choice.across_spread_px = std::hypot(choice.across_spread_px, course->across_spread_px);
  return choice;
}

}  // namespace lookdown::level
