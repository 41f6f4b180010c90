#include "stages/level/level.h"
#include "stages/level/search/first_lines.h"
#include "stages/level/search/horizon_weights.h"

namespace lookdown::level {
namespace {

// Middle between the highest value of frames without a horizon (2.3, but for one of 156) and the lowest of
// frames with one (4.2, of 133): real and rendered frames, none of them of the scoring sets.
constexpr double kEven = 3.2;

}  // namespace

double coarse_horizon_log_odds(const cv::Mat& bgr, const Camera& camera, int orientation) {
  return log_odds_at_a_glance(bgr, camera, orientation, kRegionWeights) - kEven;
}

}  // namespace lookdown::level
