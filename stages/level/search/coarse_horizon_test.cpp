#include <algorithm>
#include <cmath>
#include <opencv2/core.hpp>

#include "pipeline/imaging/resampling/halving.h"
#include "stages/level/copies/display_turn.h"
#include "stages/level/level.h"
#include "stages/level/search/horizon_evidence.h"
#include "stages/level/search/horizon_search.h"
#include "stages/level/search/search_picture.h"

namespace lookdown::level {
namespace {

constexpr int kLongSide = 64;
constexpr int kMostLongSide = 600;  // of the picture that texture is measured in
constexpr int kGlanceCandidates = 16;
constexpr double kGlanceSmallestSide = 32;
// Middle between the highest value of frames without a horizon (2.3, but for one of 156) and the lowest of
// frames with one (4.2, of 133): real and rendered frames, none of them of the scoring sets.
constexpr double kEven = 3.2;

}  // namespace

double coarse_horizon_log_odds(const cv::Mat& bgr, const Camera& camera, int orientation) {
  if (std::min(bgr.cols, bgr.rows) < kGlanceSmallestSide) return -1e3;
  const cv::Mat reduced = halved_until(bgr, kMostLongSide);
  const double shrink = static_cast<double>(reduced.cols) / bgr.cols;
  const SearchPicture picture = search_picture(reduced, camera.scaled(shrink), kLongSide);
  double best = -1e3;
  for (const LineCandidate& line : candidate_lines(picture, kGlanceCandidates)) {
    const Eigen::Vector2d to_sky = display_from_stored(orientation) *
                                   Eigen::Vector2d(std::cos(line.angle_rad), std::sin(line.angle_rad));
    const double roll = std::atan2(to_sky.x(), -to_sky.y());
    best = std::max(best, preliminary_log_odds(evidence_of(picture, line, roll, {})));
  }
  return best - kEven;
}

}  // namespace lookdown::level
