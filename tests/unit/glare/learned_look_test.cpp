#include "stages/glare/water/learned_look.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <random>

namespace lookdown::glare {
namespace {

// Looks of a normal distribution about `mean`, the same in all numbers.
std::vector<Look> looks_about(float mean, float spread, int count, std::uint32_t seed) {
  std::mt19937 random(seed);
  std::normal_distribution<float> around(mean, spread);
  std::vector<Look> looks(static_cast<std::size_t>(count));
  for (Look& look : looks)
    for (float& number : look) number = around(random);
  return looks;
}

LookSamples believed(const std::vector<Look>& looks, char water) {
  return {looks, std::vector<float>(looks.size(), 1), std::vector<char>(looks.size(), water)};
}

double share_of_water(const LearnedLook& learned, const std::vector<Look>& looks) {
  const std::vector<float> odds = learned.log_odds(looks);
  return static_cast<double>(std::count_if(odds.begin(), odds.end(), [](float o) { return o > 0; })) /
         static_cast<double>(odds.size());
}

// What is learned tells ground about 0 from water about `water_at`, neither of which it has seen.
void expect_told(const LookSamples& samples, float water_at, double most_of_ground, double least_of_water) {
  const auto learned = LearnedLook::from(samples);
  ASSERT_TRUE(learned);
  EXPECT_LT(share_of_water(*learned, looks_about(0, 1, 1000, 3)), most_of_ground);
  EXPECT_GT(share_of_water(*learned, looks_about(water_at, 1, 1000, 4)), least_of_water);
}

// Of two equal normal distributions that lie d apart in each of n numbers, logistic regression errs in the
// share Phi(-d sqrt(n) / 2) (Efron, J. Am. Statist. Assoc. 70:892, 1975): 0.2 % here.
TEST(LearnedLook, TellsWhatItHasNotSeenAsWellAsTheTheoryAllows) {
  LookSamples samples;
  samples.add(believed(looks_about(0, 1, 2000, 1), 0), 0);
  samples.add(believed(looks_about(2, 1, 500, 2), 1), 0);
  expect_told(samples, 2, 0.01, 0.97);
}

TEST(LearnedLook, IsNotMisledByAFewThatAreBelievedWrongly) {
  LookSamples samples;
  samples.add(believed(looks_about(0, 1, 2000, 1), 0), 0);
  samples.add(believed(looks_about(0, 1, 100, 5), 1), 0);  // ground that was taken for water
  samples.add(believed(looks_about(3, 1, 500, 2), 1), 0);
  samples.add(believed(looks_about(3, 1, 100, 6), 0), 0);
  expect_told(samples, 3, 0.02, 0.95);
}

TEST(LearnedLook, IsEmptyWhereOneOfBothIsHardlyKnown) {
  LookSamples samples;
  samples.add(believed(looks_about(0, 1, 2000, 1), 0), 0);
  samples.add(believed(looks_about(3, 1, 5, 2), 1), 0);
  EXPECT_FALSE(LearnedLook::from(samples));
  EXPECT_FALSE(LearnedLook::from({}));
}

// A surface under half the exposure: half the linear light, and 2^(1/2.2) less of stored levels.
TEST(LooksOfPatches, AreTheSameAtAnyExposureOnceItIsKnown) {
  cv::Mat bgr(240, 320, CV_8UC3), darker;
  cv::RNG random(7);
  random.fill(bgr, cv::RNG::NORMAL, cv::Scalar(140, 150, 160), cv::Scalar::all(12));
  bgr.convertTo(darker, CV_8UC3, std::pow(0.5, 1 / 2.2));
  const WorkingPicture bright = prepare(bgr), dark = prepare(darker);
  const Patches patches = patches_of(surface_look(bright).lab);
  const std::vector<Look> a = looks_of(bright, surface_look(bright), patches),
                          b = looks_of(dark, surface_look(dark), patches);
  double sum = 0, plain = 0;
  for (std::size_t i = 0; i < a.size(); ++i)
    for (std::size_t k = 2; k < kLookNumbers; ++k) {
      sum += std::abs(at_mean_exposure(b[i], std::log(0.5))[k] - a[i][k]);
      plain += std::abs(b[i][k] - a[i][k]);
    }
  EXPECT_LT(sum, 0.2 * plain);
}

}  // namespace
}  // namespace lookdown::glare
