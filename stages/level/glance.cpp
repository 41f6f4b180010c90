#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>

#include "stages/level/display_turn.h"
#include "stages/level/horizon_evidence.h"
#include "stages/level/horizon_search.h"
#include "stages/level/level.h"
#include "stages/level/search_picture.h"

namespace lookdown::level {
namespace {

constexpr int kLongSide = 64;
constexpr int kTextureLongSide = 400;  // pixels of the picture that texture is measured in
constexpr int kCandidates = 32;
constexpr double kSmallestSide = 32;
// Middle between the highest value of frames without a horizon (2.3, but for one of 156) and the lowest of frames with one (4.2, of 133): real and
// rendered frames, none of them of the scoring sets.
constexpr double kEven = 3.2;

}  // namespace

double glance_log_odds(const cv::Mat& bgr, const Camera& camera, int orientation) {
  if (std::min(bgr.cols, bgr.rows) < kSmallestSide) return -1e3;
  const double shrink = std::min(1.0, static_cast<double>(kTextureLongSide) / std::max(bgr.cols, bgr.rows));
  cv::Mat reduced = bgr;
  if (shrink < 1) cv::resize(bgr, reduced, {}, shrink, shrink, cv::INTER_AREA);
  const SearchPicture picture = search_picture(reduced, camera.scaled(shrink), kLongSide);
  double best = -1e3;
  for (const LineCandidate& line : candidate_lines(picture, kCandidates)) {
    const Eigen::Vector2d to_sky =
        display_from_stored(orientation) * Eigen::Vector2d(std::cos(line.angle_rad), std::sin(line.angle_rad));
    const double roll = std::atan2(to_sky.x(), -to_sky.y());
    best = std::max(best, preliminary_log_odds(evidence_of(picture, line, roll, {})));
  }
  return best - kEven;
}

}  // namespace lookdown::level
