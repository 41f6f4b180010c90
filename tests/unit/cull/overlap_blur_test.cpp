// Two frames of the same ground: the ratio of their spectra is that of their blurs.
#include "stages/cull/blur/overlap_blur.h"

#include <gtest/gtest.h>

#include "test_pictures.h"

namespace lookdown {
namespace {

constexpr int kWidth = 640, kHeight = 420;

FrameRecord lying_at(double x, double y) {
  FrameRecord frame;
  frame.source.width_px = kWidth;
  frame.source.height_px = kHeight;
  frame.placement.placed = true;
  frame.placement.group = 0;
  frame.placement.camera.width_px = kWidth;
  frame.placement.camera.height_px = kHeight;
  frame.placement.camera.fx_px = frame.placement.camera.fy_px = 600;
  frame.placement.mosaic_from_frame.matrix << 1, 0, x, 0, 1, y, 0, 0, 1;
  return frame;
}

cv::Mat cut(const cv::Mat& ground, int x, int y, double sigma_px, unsigned seed) {
  cv::Mat out;
  test::noisy(test::gaussian(ground, sigma_px)(cv::Rect(x, y, kWidth, kHeight)), 1, seed)
      .convertTo(out, CV_8U);
  return out;
}

TEST(OverlapBlur, AddedVarianceIsTheDifferenceOfTheSquares) {
  // Gaussians convolve: variances add (derived). 2^2 - 0.7^2 = 3.51.
  const cv::Mat ground = test::dead_leaves({900, 600}, 5);
  const FrameRecord one = lying_at(0, 0), other = lying_at(137, 61);
  const auto found = cull::compare_overlap(one, cut(ground, 0, 0, 2, 1), other, cut(ground, 137, 61, 0.7, 2));
  ASSERT_TRUE(found);
  EXPECT_NEAR(found->added_variance_px2, 3.51, 0.5);
}

TEST(OverlapBlur, ErrorOfThePlacementChangesLittle) {
  const cv::Mat ground = test::dead_leaves({900, 600}, 6);
  const FrameRecord one = lying_at(0, 0), other = lying_at(103.5, 46.2);
  const auto found =
      cull::compare_overlap(one, cut(ground, 0, 0, 1.6, 3), other, cut(ground, 100, 50, 1.6, 4));
  ASSERT_TRUE(found);
  EXPECT_NEAR(found->added_variance_px2, 0, 0.4);
}

TEST(OverlapBlur, BlankGroundTellsNothing) {
  const cv::Mat water(600, 900, CV_32F, cv::Scalar(90));
  EXPECT_FALSE(cull::compare_overlap(lying_at(0, 0), cut(water, 0, 0, 1, 5), lying_at(100, 50),
                                     cut(water, 100, 50, 1, 6)));
}

TEST(OverlapBlur, FramesThatDoNotOverlapTellNothing) {
  const cv::Mat ground = test::dead_leaves({900, 600}, 7);
  EXPECT_FALSE(cull::compare_overlap(lying_at(0, 0), cut(ground, 0, 0, 1, 7), lying_at(2000, 0),
                                     cut(ground, 200, 0, 1, 8)));
}

}  // namespace
}  // namespace lookdown
