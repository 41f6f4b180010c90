#include "stages/mosaic/radiometry/tone_curve.h"

#include <gtest/gtest.h>

#include <stdexcept>

namespace lookdown::mosaic {
namespace {

// Values of SciPy 1.10's PchipInterpolator, an implementation of the same publication.
TEST(ToneCurve, GoesBetweenItsPointsAsSciPysMonotoneCubicDoes) {
  const ToneCurve lifted("0,0 0.25,0.18 0.75,0.84 1,1");
  EXPECT_NEAR(lifted.at(0.1), 0.060425316, 1e-9);
  EXPECT_NEAR(lifted.at(0.25), 0.18, 1e-12);
  EXPECT_NEAR(lifted.at(0.4), 0.362731093, 1e-9);
  EXPECT_NEAR(lifted.at(0.6), 0.664853563, 1e-9);
  EXPECT_NEAR(lifted.at(0.9), 0.948721048, 1e-9);
  const ToneCurve with_a_step("0.1,0 0.3,0.5 0.5,0.5 0.9,1");
  EXPECT_NEAR(with_a_step.at(0.15), 0.18359375, 1e-9);
  EXPECT_NEAR(with_a_step.at(0.4), 0.5, 1e-12);
  EXPECT_NEAR(with_a_step.at(0.8), 0.8046875, 1e-9);
  const ToneCurve steep("0,0 0.5,0.9 1,1");
  EXPECT_NEAR(steep.at(0.3), 0.68208, 1e-9);
  EXPECT_NEAR(steep.at(0.9), 0.99536, 1e-9);
}

TEST(ToneCurve, IsLevelBeyondItsPointsAndNothingWithoutAny) {
  const ToneCurve curve("0.1,0.05 0.8,0.9");
  EXPECT_EQ(curve.at(0), 0.05);
  EXPECT_EQ(curve.at(1), 0.9);
  EXPECT_TRUE(ToneCurve("").changes_nothing());
  EXPECT_EQ(ToneCurve("").at(0.37), 0.37);
}

TEST(ToneCurve, ChangesPicturesByATableAsTheCurveItself) {
  const ToneCurve curve("0,0 0.1,0.2 0.75,0.84 1,1");
  cv::Mat colours(40, 50, CV_32FC3);
  cv::randu(colours, -3, 258);
  cv::Mat changed = colours.clone();
  curve.apply(changed);
  for (int row = 0; row < colours.rows; ++row)
    for (int at = 0; at < 3 * colours.cols; ++at)
      EXPECT_NEAR(changed.ptr<float>(row)[at], 255 * curve.at(colours.ptr<float>(row)[at] / 255.0),
                  0.5 / 257);
}

TEST(ToneCurve, RefusesWhatIsNoCurve) {
  for (const char* wrong : {"0,0", "0,0 1", "0,0 0.5,x 1,1", "0,0 1.5,1", "0.5,0 0.5,1", "0,1 1,0"})
    EXPECT_THROW(ToneCurve{wrong}, std::runtime_error) << wrong;
}

}  // namespace
}  // namespace lookdown::mosaic
