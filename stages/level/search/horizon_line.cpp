#include "stages/level/search/horizon_line.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <opencv2/imgproc.hpp>
#include <vector>

#include "stages/level/copies/display_turn.h"
#include "stages/level/level.h"
#include "stages/level/search/horizon_search.h"

namespace lookdown::level {
namespace {

constexpr int kCandidates = 160;
constexpr std::size_t kRefined = 7;
constexpr double kSmallestSide = 48;

/// Roll that a line with this normal to the sky shows in the displayed frame.
double shown_roll(double nx, double ny, int orientation) {
  const Eigen::Vector2d shown = display_from_stored(orientation) * Eigen::Vector2d(nx, ny);
  return std::atan2(shown.x(), -shown.y());
}

/// Line of the small picture in pixels of the picture it was made from; pixel centres are kept.
Eigen::Vector3d enlarge(const LineCandidate& line, double scale) {
  const double nx = std::cos(line.angle_rad), ny = std::sin(line.angle_rad);
  const double offset = (line.offset_px + (0.5 - 0.5 * scale) * (nx + ny)) / scale;
  return {nx, ny, -offset};
}

LineCandidate reduce(const Eigen::Vector3d& line, double scale) {
  const double offset = -line.z() * scale - (0.5 - 0.5 * scale) * (line.x() + line.y());
  return {std::atan2(line.y(), line.x()), offset, 0};
}

/// Largest distance between two lines within the picture, small pixels; lines with the sky on different sides
/// are far apart.
double apart(const LineCandidate& a, const LineCandidate& b, const cv::Size& size) {
  const double turn = std::remainder(a.angle_rad - b.angle_rad, 2 * std::numbers::pi);
  if (std::abs(turn) > 0.5) return 1e9;
  const double cx = 0.5 * size.width, cy = 0.5 * size.height;
  const double at_centre = (a.offset_px - cx * std::cos(a.angle_rad) - cy * std::sin(a.angle_rad)) -
                           (b.offset_px - cx * std::cos(b.angle_rad) - cy * std::sin(b.angle_rad));
  return std::abs(at_centre) + std::abs(turn) * 0.5 * std::hypot(cx, cy);
}

/// The best candidates that differ from each other; refinement would bring near ones to the same line.
std::vector<LineCandidate> best_distinct(std::vector<LineCandidate> candidates, const cv::Size& size,
                                         std::size_t most) {
  std::stable_sort(candidates.begin(), candidates.end(),
                   [](const auto& a, const auto& b) { return a.score > b.score; });
  std::vector<LineCandidate> chosen;
  for (const LineCandidate& line : candidates) {
    const bool is_new = std::none_of(chosen.begin(), chosen.end(), [&](const LineCandidate& other) {
      return apart(line, other, size) < 3.5;
    });
    if (is_new) chosen.push_back(line);
    if (chosen.size() == most) break;
  }
  return chosen;
}

}  // namespace

std::vector<HorizonGuess> horizon_guesses(const cv::Mat3b& bgr, const Camera& camera, int orientation) {
  if (coarse_horizon_log_odds(bgr, camera, orientation) < kLeastGlance) return {};
  return guesses_without_glance(bgr, camera, orientation);
}

std::vector<HorizonGuess> guesses_without_glance(const cv::Mat3b& bgr, const Camera& camera,
                                                 int orientation) {
  if (std::min(bgr.cols, bgr.rows) < kSmallestSide) return {};
  const SearchPicture picture = search_picture(bgr, camera);
  std::vector<LineCandidate> candidates = candidate_lines(picture, kCandidates);
  for (LineCandidate& line : candidates) {
    const double roll = shown_roll(std::cos(line.angle_rad), std::sin(line.angle_rad), orientation);
    line.score = preliminary_log_odds(evidence_of(picture, line, roll, {}, 2));
  }
  candidates = best_distinct(std::move(candidates), picture.valid.size(), kRefined);

  cv::Mat3b blurred;
  cv::GaussianBlur(bgr, blurred, {}, 1.0);
  const double reach = std::max(6.0, 4.0 / picture.scale);
  std::vector<Eigen::Vector3d> firsts;
  firsts.reserve(candidates.size());
  for (const LineCandidate& candidate : candidates) firsts.push_back(enlarge(candidate, picture.scale));
  std::vector<RefinedLine> lines = refine_straight(blurred, camera, firsts);
  for (const RefinedLine& line : refine_skyline(blurred, camera, firsts, reach)) lines.push_back(line);
  const auto guess_of = [&](const RefinedLine& refined) {
    const double roll = shown_roll(refined.line.x(), refined.line.y(), orientation);
    HorizonGuess guess{refined,
                       evidence_of(picture, reduce(refined.line, picture.scale), roll, refined.support), 0};
    guess.log_odds = log_odds(guess.evidence);
    return guess;
  };
  std::vector<HorizonGuess> guesses;
  guesses.reserve(lines.size() + 1);
  for (const RefinedLine& refined : lines) guesses.push_back(guess_of(refined));
  const auto likelier = [](const auto& a, const auto& b) { return a.log_odds > b.log_odds; };
  std::stable_sort(guesses.begin(), guesses.end(), likelier);
  if (!guesses.empty() && guesses.front().log_odds > 0)
    if (const auto behind = refine_behind(blurred, camera, guesses.front().refined.line)) {
      guesses.push_back(guess_of(*behind));
      std::stable_sort(guesses.begin(), guesses.end(), likelier);
    }
  return guesses;
}

}  // namespace lookdown::level
