#include "stages/level/level.h"
#include "stages/level/search/first_lines.h"
#include "stages/level/search/horizon_weights.h"

namespace lookdown::level {
double coarse_horizon_log_odds(const cv::Mat& bgr, const Camera& camera, int orientation) {
  return log_odds_at_a_glance(bgr, camera, orientation, kRegionWeights);
}

}  // namespace lookdown::level
