#include "stages/level/lines/far_shore.h"

#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>

#include "stages/level/lines/edge_profiles.h"
#include "stages/level/lines/horizon_refine.h"

namespace lookdown::level {
namespace {

/// Below it there is no sky at all: of pictures to learn from, as they are, without a horizon that the glance
/// lets through, a quarter lie above (printed by train_horizon).
constexpr double kLeastLogOdds = -3.8;
constexpr double kDeepest = 0.24;     // below the skyline, of the long side: land seen across a lake is low
constexpr double kSearchStep = 0.06;  // half the strip that a first line is looked about in
constexpr double kLeastLand = 0.02;   // between waterline and skyline, of the long side
// A hedge or a dike far away is coherent too, but the ground before it is as uneven as what lies behind.
constexpr double kShoreCoherence = 0.55, kLeastFineShare = 0.85, kMostUneven = 0.7;
constexpr double kBesideLine_px = 4;  // the edge itself

/// The line moved away from its sky side.
Eigen::Vector3d lowered(Eigen::Vector3d line, double by_px) {
  line.z() += by_px;
  return line;
}

/// Mean size of the second differences along the line between two distances from it (to the sky), grey
/// levels: what trees and roofs have more of than water far away.
double unevenness(const Profiles& profiles, double from_px, double to_px) {
  double sum = 0;
  int count = 0;
  for (std::size_t k = 1; k + 1 < profiles.all.size(); ++k)
    for (int i = 0; i <= 2 * profiles.half_count; ++i) {
      const double across = profiles.across_px(i);
      if (across < from_px || across > to_px) continue;
      const Eigen::Vector3f bend =
          profiles.all[k - 1].colours[i] - 2 * profiles.all[k].colours[i] + profiles.all[k + 1].colours[i];
      if (std::isnan(bend[0])) continue;
      sum += bend.norm();
      ++count;
    }
  return count > 0 ? sum / count : 0;
}

/// Whether the ground below is smoother than what stands above, as water is beside its shore.
bool parts_smooth_from_uneven(const cv::Mat3b& blurred, const Camera& camera, const Eigen::Vector3d& line) {
  const double reach_px = kSearchStep * std::max(blurred.cols, blurred.rows);
  const Profiles profiles = sample_profiles(blurred, camera, line_frame(line, blurred.size()), reach_px);
  const double below = unevenness(profiles, -reach_px, -kBesideLine_px);
  const double above = unevenness(profiles, kBesideLine_px, reach_px);
  return above > 0 && below < kMostUneven * above;
}

}  // namespace

std::optional<FarShore> find_far_shore(const cv::Mat3b& bgr, const Camera& camera,
                                       const std::vector<HorizonGuess>& guesses) {
  if (guesses.empty() || guesses.front().log_odds < kLeastLogOdds || guesses.front().log_odds > 0)
    return std::nullopt;
  cv::Mat3b blurred;
  cv::GaussianBlur(bgr, blurred, {}, 1.0);
  const double long_side = std::max(bgr.cols, bgr.rows);
  const Eigen::Vector3d& skyline = guesses.front().refined.line;
  const Eigen::Vector3d middle(0.5 * bgr.cols, 0.5 * bgr.rows, 1);
  std::vector<Eigen::Vector3d> firsts;
  for (double deep = kSearchStep; deep <= kDeepest; deep += kSearchStep)
    firsts.push_back(lowered(skyline, deep * long_side));
  std::optional<FarShore> best;
  for (const RefinedLine& line : refine_straight(blurred, camera, firsts)) {
    const double land_px = line.line.dot(middle) - skyline.dot(middle);
    const LineSupport& support = line.support;
    if (land_px < kLeastLand * long_side || support.coherence < kShoreCoherence ||
        support.fine_share < kLeastFineShare || !parts_smooth_from_uneven(blurred, camera, line.line))
      continue;
    if (!best || support.coherence > best->waterline.support.coherence) best = FarShore{line, land_px};
  }
  return best;
}

}  // namespace lookdown::level
