// The measures that ours is compared with, checked against values that follow from their formulas.
#include "bench/cull/classical_sharpness.h"

#include <gtest/gtest.h>

#include <cmath>

#include "unit/cull/test_pictures.h"

namespace lookdown {
namespace {

TEST(ClassicalMeasures, LaplacianOfACosineHasItsDerivedVariance) {
  // Variance of the Laplacian (Pech-Pacheco et al., ICPR 2000) of A cos(2 pi f x): A^2 / 2 (2 cos(2 pi f) -
  // 2)^2; A = 100, f = 1/8 gives 1715.7288 (derived). Wide, so that the mirrored sides weigh little.
  cv::Mat wave(64, 8192, CV_8U);
  for (int y = 0; y < wave.rows; ++y)
    for (int x = 0; x < wave.cols; ++x)
      wave.at<std::uint8_t>(y, x) =
          static_cast<std::uint8_t>(std::lround(128 + 100 * std::cos(2 * M_PI * x / 8)));
  EXPECT_NEAR(bench::variance_of_laplacian(wave), 1715.7288, 0.03 * 1715.7288);
}

TEST(ClassicalMeasures, LaplacianGainOfWhiteNoiseIsTwenty) {
  // 4^2 + 4 x 1^2 = 20 (derived): why noise looks sharp to it.
  cv::Mat noise;
  test::noisy(cv::Mat(600, 900, CV_32F, cv::Scalar(128)), 8, 5).convertTo(noise, CV_8U);
  EXPECT_NEAR(bench::variance_of_laplacian(noise) / 64, 20, 0.6);
}

TEST(ClassicalMeasures, ReblurMeasureRanksAsPublished) {
  // Crete et al., Proc. SPIE 6492, 64920I (2007): B(I) < B(I * s1) < B(I * s4), 0 <= B < 1.
  cv::Mat sharp, one, four;
  const cv::Mat scene = test::dead_leaves({600, 400}, 3);
  scene.convertTo(sharp, CV_8U);
  test::gaussian(scene, 1).convertTo(one, CV_8U);
  test::gaussian(scene, 4).convertTo(four, CV_8U);
  const double b0 = 1 - bench::reblur_sharpness(sharp), b1 = 1 - bench::reblur_sharpness(one),
               b4 = 1 - bench::reblur_sharpness(four);
  EXPECT_GE(b0, 0);
  EXPECT_LT(b0, b1);
  EXPECT_LT(b1, b4);
  EXPECT_LT(b4, 1);
}

}  // namespace
}  // namespace lookdown
