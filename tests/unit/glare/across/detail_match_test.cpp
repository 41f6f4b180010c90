#include "stages/glare/across/detail_match.h"

#include <gtest/gtest.h>

#include <opencv2/imgproc.hpp>

namespace lookdown::glare {
namespace {

constexpr int kGrainWidth = 480, kGrainHeight = 320;

// Detail of about 2 px, of a standard deviation in levels, about `level`.
cv::Mat grain(std::uint64_t seed, double sigma, cv::Size size = {kGrainWidth, kGrainHeight},
              double level = 110) {
  cv::RNG random(seed);
  cv::Mat out(size, CV_32FC1);
  random.fill(out, cv::RNG::NORMAL, 0, 1);
  cv::GaussianBlur(out, out, {0, 0}, 1.2);
  cv::Scalar mean, deviation;
  cv::meanStdDev(out, mean, deviation);
  return out * (sigma / deviation[0]) + level;
}

cv::Mat stored(const cv::Mat& plane, std::uint64_t noise_seed, double noise = 0.7) {
  cv::RNG random(noise_seed);
  cv::Mat noisy(plane.size(), CV_32FC1), out;
  random.fill(noisy, cv::RNG::NORMAL, 0, noise);
  cv::Mat(plane + noisy).convertTo(out, CV_8UC1);
  return out;
}

LaidDetail whole(const cv::Mat& luma) {
  const Detail detail = detail_of(luma);
  return {detail.even, cv::Mat(detail.power.size(), CV_8UC1, cv::Scalar(255))};
}

cv::Mat shifted(const cv::Mat& plane, int dx, int dy) {
  const cv::Matx23f by(1, 0, static_cast<float>(dx), 0, 1, static_cast<float>(dy));
  cv::Mat out;
  cv::warpAffine(plane, out, by, plane.size(), cv::INTER_NEAREST, cv::BORDER_REFLECT);
  return out;
}

// Two views: ground with a pond in its right half, whose detail is another's in the other view.
struct TwoViews {
  cv::Mat own, other, bgr;
};
TwoViews two_views(const cv::Mat& pond, const cv::Mat& pond_of_other, int placing_error_px = 0) {
  const cv::Mat ground = grain(1, 6);
  cv::Mat own = ground.clone(), other = ground.clone();
  const cv::Rect right(kGrainWidth / 2, 0, kGrainWidth / 2, kGrainHeight);
  pond.copyTo(own(right));
  pond_of_other.copyTo(other(right));
  cv::Mat bgr(kGrainHeight, kGrainWidth, CV_8UC3, cv::Scalar(60, 120, 90));
  bgr(right).setTo(cv::Scalar(70, 60, 40));
  return {stored(own, 11), stored(shifted(other, placing_error_px, -placing_error_px), 12), bgr};
}

cv::Mat odds(const TwoViews& views) {
  DetailComparison comparison(detail_of(views.own));
  comparison.add(whole(views.other));
  return comparison.motion(views.bgr).moving;
}

double mean_of(const cv::Mat& plane, bool right) {
  const int quarter = kGrainWidth / 4;
  return cv::mean(plane(
      cv::Rect(right ? kGrainWidth / 2 + quarter / 2 : quarter / 2, 60, quarter, kGrainHeight - 120)))[0];
}

const cv::Size kHalf(kGrainWidth / 2, kGrainHeight);

TEST(DetailComparison, GroundStandsAndRipplesMove) {
  for (const int placing_error_px : {0, 3}) {
    const cv::Mat found = odds(two_views(grain(2, 4, kHalf), grain(3, 4, kHalf), placing_error_px));
    EXPECT_LT(mean_of(found, false), -3) << placing_error_px;
    EXPECT_GT(mean_of(found, true), 2) << placing_error_px;
  }
}

TEST(DetailComparison, GroundOfAnotherColourStandsToo) {
  const cv::Mat sand = grain(2, 4, kHalf);
  EXPECT_LT(mean_of(odds(two_views(sand, sand)), true), -3);
}

// Smooth water and smooth ground look alike: neither has detail beyond noise.
TEST(DetailComparison, SaysNothingWhereThereIsOnlyNoise) {
  const cv::Mat smooth(kHalf, CV_32FC1, cv::Scalar(110));
  const cv::Mat found = odds(two_views(smooth, smooth));
  EXPECT_LT(mean_of(found, false), -3);
  EXPECT_NEAR(mean_of(found, true), 0, 0.5);
}

// A bottom that shows through calm water matches, but its detail is faint beside that of the ground.
TEST(DetailComparison, SaysNothingOfAFaintBottomThatMatches) {
  const cv::Mat bottom = grain(2, 0.9, kHalf);
  EXPECT_GT(mean_of(odds(two_views(bottom, bottom)), true), -1);
}

// A roof lies elsewhere in the other view, as far as its height takes it.
TEST(DetailComparison, ARoofThatLiesElsewhereIsNoWater) {
  const cv::Mat roof = grain(2, 5, kHalf);
  EXPECT_LT(mean_of(odds(two_views(roof, shifted(roof, 37, -20))), true), 0.5);
}

// Where nothing at all matches it is the placing that errs.
TEST(DetailComparison, AViewInWhichNothingMatchesTellsNothing) {
  TwoViews views = two_views(grain(2, 4, kHalf), grain(3, 4, kHalf));
  views.other = stored(grain(9, 6), 12);
  EXPECT_EQ(cv::countNonZero(odds(views)), 0);
}

TEST(DetailComparison, TakesSizesWithoutAWholeTile) {
  for (const cv::Size size : {cv::Size(5, 40), cv::Size(1, 1), cv::Size(17, 16)}) {
    const cv::Mat luma(size, CV_8UC1, cv::Scalar(90)), bgr(size, CV_8UC3, cv::Scalar(90, 90, 90));
    DetailComparison comparison(detail_of(luma));
    comparison.add(whole(luma));
    EXPECT_EQ(cv::countNonZero(comparison.motion(bgr).moving), 0);
  }
}

}  // namespace
}  // namespace lookdown::glare
