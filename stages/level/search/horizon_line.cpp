#include "stages/level/search/horizon_line.h"

#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>
#include <vector>

#include "stages/level/level.h"
#include "stages/level/search/first_lines.h"
#include "stages/level/search/horizon_weights.h"

namespace lookdown::level {
namespace {

constexpr double kSmallestSide = 48;

/// Line of the picture in the small one made from it; pixel centres are kept.
LineCandidate reduce(const Eigen::Vector3d& line, double scale) {
  const double offset = -line.z() * scale - (0.5 - 0.5 * scale) * (line.x() + line.y());
  return {std::atan2(line.y(), line.x()), offset, 0};
}

}  // namespace

std::vector<HorizonGuess> horizon_guesses(const cv::Mat3b& bgr, const Camera& camera, int orientation) {
  if (coarse_horizon_log_odds(bgr, camera, orientation) < kLeastGlance) return {};
  return guesses_without_glance(bgr, camera, orientation, kRegionWeights);
}

std::vector<HorizonGuess> guesses_without_glance(const cv::Mat3b& bgr, const Camera& camera, int orientation,
                                                 const Evidence& region_weights) {
  if (std::min(bgr.cols, bgr.rows) < kSmallestSide) return {};
  const SearchPicture picture = search_picture(bgr, camera);
  const std::vector<Eigen::Vector3d> firsts =
      likeliest_apart(first_lines(picture, orientation), region_weights, picture.valid.size());

  cv::Mat3b blurred;
  cv::GaussianBlur(bgr, blurred, {}, 1.0);
  const double reach = std::max(6.0, 4.0 / picture.scale);
  std::vector<RefinedLine> lines = refine_straight(blurred, camera, firsts);
  for (const RefinedLine& line : refine_skyline(blurred, camera, firsts, reach)) lines.push_back(line);
  const auto guess_of = [&](const RefinedLine& refined) {
    const double roll = shown_roll_rad(refined.line.x(), refined.line.y(), orientation);
    HorizonGuess guess{refined,
                       evidence_of(picture, reduce(refined.line, picture.scale), roll, refined.support), 0};
    guess.log_odds = weighted(guess.evidence, kWeights);
    return guess;
  };
  std::vector<HorizonGuess> guesses;
  guesses.reserve(lines.size() + 1);
  for (const RefinedLine& refined : lines) guesses.push_back(guess_of(refined));
  // Which ridge to look behind is for the regions to say: lines tried by weights could not be learnt from to
  // make those weights.
  const auto ridge = std::max_element(guesses.begin(), guesses.end(), [&](const auto& a, const auto& b) {
    return weighted(a.evidence, region_weights) < weighted(b.evidence, region_weights);
  });
  if (ridge != guesses.end())
    if (const auto behind = refine_behind(blurred, camera, ridge->refined.line))
      guesses.push_back(guess_of(*behind));
  std::stable_sort(guesses.begin(), guesses.end(),
                   [](const auto& a, const auto& b) { return a.log_odds > b.log_odds; });
  return guesses;
}

}  // namespace lookdown::level
