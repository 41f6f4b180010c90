#include "stages/glare/water/usual_look.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <vector>

#include "painted_water.h"
#include "stages/glare/picture/working_picture.h"
#include "stages/glare/water/learned_look.h"

namespace lookdown::glare {
namespace {

// Chance that a place of the one is more like usual water than a place of the other (area below the ROC
// curve).
double chance_of_order(std::vector<float> water, const std::vector<float>& ground) {
  std::sort(water.begin(), water.end());
  double below = 0;
  for (const float of_ground : ground)
    below += static_cast<double>(water.end() - std::upper_bound(water.begin(), water.end(), of_ground));
  return below / (static_cast<double>(water.size()) * static_cast<double>(ground.size()));
}

// Scenes of seeds that it was not taught, by the painter's truth. By chance the order is right in half.
TEST(UsualLook, PutsPaintedWaterBeforePaintedGround) {
  std::vector<float> water, ground;
  for (const std::uint32_t seed : {71, 72, 73, 74, 75, 76}) {
    painted::Choice choice;
    choice.seed = seed;
    const painted::Scene scene = painted::paint(choice);
    const WorkingPicture picture = prepare_look(scene.bgr, scene.bgr.size());
    const cv::Mat odds = usual_log_odds(seen_patches(picture, surface_look(picture)));
    ASSERT_EQ(odds.size(), picture.calm_bgr.size());
    for (int y = 2; y < odds.rows; y += 5)
      for (int x = 2; x < odds.cols; x += 5)
        (scene.water.at<uchar>(2 * y, 2 * x) ? water : ground).push_back(odds.at<float>(y, x));
  }
  EXPECT_GT(chance_of_order(water, ground), 0.65);
}

TEST(UsualLook, HelpsButNeverDecidesAlone) {
  SeenPatches seen;
  seen.patches.labels = cv::Mat(1, 2, CV_16UC1);
  seen.looks.resize(2);
  seen.patches.labels.at<std::uint16_t>(0, 0) = 0, seen.patches.labels.at<std::uint16_t>(0, 1) = 1;
  seen.looks[0].fill(-100), seen.looks[1].fill(100);
  const cv::Mat odds = usual_log_odds(seen);
  double least = 0, most = 0;
  cv::minMaxLoc(odds, &least, &most);
  EXPECT_GE(least, -2);
  EXPECT_LE(most, 4);
}

TEST(LearnedLook, IsTheSameAfterItsNumbersWereWrittenDown) {
  LookSamples samples;
  for (int i = 0; i < 400; ++i) {
    Look look;
    for (std::size_t k = 0; k < look.size(); ++k) look[k] = static_cast<float>((i * (7 + k)) % 11 + i % 2);
    samples.looks.push_back(look), samples.weights.push_back(1), samples.water.push_back(i % 2);
  }
  const auto learned = LearnedLook::from(samples);
  ASSERT_TRUE(learned);
  const std::vector<float> before = learned->log_odds(samples.looks),
                           after = LearnedLook(learned->parameters()).log_odds(samples.looks);
  for (std::size_t i = 0; i < before.size(); ++i) EXPECT_NEAR(after[i], before[i], 1e-3);
}

}  // namespace
}  // namespace lookdown::glare
