#include "stages/glare/water/usual_look.h"

#include <algorithm>
#include <cstdint>
#include <vector>

#include "stages/glare/water/learned_look.h"

namespace lookdown::glare {
namespace {

#include "stages/glare/water/usual_look.inc"

}  // namespace

cv::Mat usual_log_odds(const SeenPatches& seen) {
  // What is as likely one as the other to it is a little more often water where other evidence agrees; and
  // water of a kind that was not taught may be ground to it, which must not weigh as much as what it knows.
  constexpr float kTowardsWater = 0.5f, kLeast = -2, kMost = 4;
  static const LearnedLook usual(kUsualLook);
  std::vector<float> odds = usual.log_odds(seen.looks);
  for (float& of_patch : odds) of_patch = std::clamp(of_patch + kTowardsWater, kLeast, kMost);
  cv::Mat plane(seen.patches.labels.size(), CV_32FC1);
  for (int y = 0; y < plane.rows; ++y) {
    const auto* label = seen.patches.labels.ptr<std::uint16_t>(y);
    float* out = plane.ptr<float>(y);
    for (int x = 0; x < plane.cols; ++x) out[x] = odds[label[x]];
  }
  return plane;
}

}  // namespace lookdown::glare
