#include "stages/glare/water/usual_look.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <opencv2/imgproc.hpp>
#include <vector>

#include "painted_water.h"

namespace lookdown::glare {
namespace {

// Chance that one of the first is greater than one of the others (area below the ROC curve).
double chance_of_order(std::vector<float> first, const std::vector<float>& others) {
  std::sort(first.begin(), first.end());
  double below = 0;
  for (const float other : others)
    below += static_cast<double>(first.end() - std::upper_bound(first.begin(), first.end(), other));
  return below / (static_cast<double>(first.size()) * static_cast<double>(others.size()));
}

struct Told {
  std::vector<float> water, ground, glitter, dull;
};

// Scenes of seeds that it was not taught, by the painter's truth.
Told of_painted_scenes() {
  Told told;
  for (const std::uint32_t seed : {71, 72, 73, 74, 75, 76}) {
    painted::Choice choice;
    choice.seed = seed;
    const painted::Scene scene = painted::paint(choice);
    const UsualLook usual = usual_look(prepare_look(scene.bgr, scene.bgr.size()));
    for (int y = 2; y < usual.water.rows; y += 5)
      for (int x = 2; x < usual.water.cols; x += 5)
        (scene.water.at<uchar>(2 * y, 2 * x) ? told.water : told.ground)
            .push_back(usual.water.at<float>(y, x));
    constexpr int kSide = 2 * kGlitterTilePx;
    for (int row = 0; row < usual.glitter.rows - 1; ++row)
      for (int column = 0; column < usual.glitter.cols; ++column) {
        const cv::Rect tile(column * kSide, row * kSide, kSide, kSide);
        const double share = cv::mean(scene.visible_glare(tile))[0] / 255;
        if (share > 0.15) told.glitter.push_back(usual.glitter.at<float>(row, column));
        if (share < 0.02) told.dull.push_back(usual.glitter.at<float>(row, column));
      }
  }
  return told;
}

TEST(UsualLook, PutsPaintedWaterBeforeGroundAndGlitterBeforeWhatIsDull) {
  const Told told = of_painted_scenes();
  EXPECT_GT(chance_of_order(told.water, told.ground), 0.85);
  EXPECT_GT(chance_of_order(told.glitter, told.dull), 0.9);
}

// How far it speaks for water, and what it adds, where its log-odds are this.
UsualLook at_odds(double log_odds) {
  return {{}, {}, cv::Mat(1, 1, CV_32FC1, cv::Scalar(log_odds))};
}

TEST(UsualLook, IsLikeWaterNowhereBelowEvenOddsAndWhereItIsSurest) {
  const auto likeness = [](double log_odds) { return at_odds(log_odds).likeness().at<float>(0); };
  for (const double against : {-kMostOfUsualLook, -1.0, 0.0}) EXPECT_EQ(likeness(against), 0);
  EXPECT_EQ(likeness(kMostOfUsualLook), 1);
  for (double odds = 0; odds < kMostOfUsualLook; odds += 0.25)
    EXPECT_LE(likeness(odds), likeness(odds + 0.25));
}

TEST(UsualLook, SaysMoreAgainstWaterThanForIt) {
  const auto evidence = [](double log_odds) { return at_odds(log_odds).evidence().at<float>(0); };
  EXPECT_EQ(evidence(0), 0);
  for (const double odds : {0.5, 2.0, kMostOfUsualLook}) {
    EXPECT_GT(evidence(odds), 0);
    EXPECT_LT(evidence(odds), -evidence(-odds));
    EXPECT_LE(-evidence(-odds), odds);
  }
}

TEST(UsualLook, HelpsButNeverDecidesAlone) {
  for (const int level : {0, 128, 255}) {
    const cv::Mat bgr(300, 400, CV_8UC3, cv::Scalar::all(level));
    const UsualLook usual = usual_look(prepare_look(bgr, bgr.size()));
    ASSERT_EQ(usual.water.size(), cv::Size(200, 150));
    double least = 0, most = 0;
    cv::minMaxLoc(usual.water, &least, &most);
    EXPECT_GE(least, -kMostOfUsualLook - 0.01);
    EXPECT_LE(most, kMostOfUsualLook + 0.01);
  }
}

// The last three numbers of a tile: how far its own slopes, those near and those far share a direction.
TEST(TileNumbers, TellStripesFromNoise) {
  cv::Mat stripes(320, 320, CV_8UC3), noise(320, 320, CV_8UC3);
  for (int x = 0; x < 320; ++x) stripes.col(x).setTo(cv::Scalar::all(x / 4 % 2 ? 60 : 160));
  cv::RNG(3).fill(noise, cv::RNG::UNIFORM, 60, 160);
  const cv::Mat of_stripes = tile_numbers(glitter_tiles(stripes, {160, 160})),
                of_noise = tile_numbers(glitter_tiles(noise, {160, 160}));
  ASSERT_EQ(of_stripes.rows, 400);
  for (const int from_last : {1, 2}) {
    EXPECT_GT(of_stripes.at<float>(190, of_stripes.cols - from_last), 0.95);
    EXPECT_LT(of_noise.at<float>(190, of_noise.cols - from_last), 0.2);
  }
}

TEST(InUsualSpreads, BoundsWhatIsBeyondAllThatWasTaught) {
  const cv::Mat numbers = (cv::Mat_<float>(2, 2) << 3, 1000, 1, -1000),
                mean = (cv::Mat_<float>(1, 2) << 1, 0), spread = (cv::Mat_<float>(1, 2) << 2, 10);
  const cv::Mat out = in_usual_spreads(numbers, mean, spread);
  EXPECT_FLOAT_EQ(out.at<float>(0, 0), 1);
  EXPECT_FLOAT_EQ(out.at<float>(0, 1), 3);
  EXPECT_FLOAT_EQ(out.at<float>(1, 0), 0);
  EXPECT_FLOAT_EQ(out.at<float>(1, 1), -3);
}

}  // namespace
}  // namespace lookdown::glare
