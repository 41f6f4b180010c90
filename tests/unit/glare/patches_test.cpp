#include "stages/glare/water/patches.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <numeric>
#include <opencv2/imgproc.hpp>

#include "stages/glare/picture/plane_math.h"

namespace lookdown::glare {
namespace {

const cv::Size kSize(160, 120);
const cv::Rect kPond(37, 29, 70, 55);
const cv::Scalar kWater(90, 80, 50), kGrass(60, 110, 90);

cv::Mat pond_in_grass() {
  cv::Mat bgr(kSize, CV_8UC3, kGrass);
  bgr(kPond).setTo(kWater);
  return bgr;
}

cv::Mat mask_of(const cv::Rect& where) {
  cv::Mat mask = cv::Mat::zeros(kSize, CV_8UC1);
  mask(where).setTo(255);
  return mask;
}

std::vector<float> share_in(const Patches& patches, const cv::Mat& mask) {
  cv::Mat share;
  mask.convertTo(share, CV_32FC1, 1 / 255.0);
  return patches.means_inside({share}).front();
}

TEST(Patches, EndWhereTheColourChanges) {
  const Patches patches = patches_of(lab_of(pond_in_grass()));
  for (const float share : share_in(patches, mask_of(kPond)))
    EXPECT_TRUE(share < 0.05f || share > 0.95f) << share;
}

TEST(Patches, CoverThePictureAndTouchOnBordersOfContrast) {
  const Patches patches = patches_of(lab_of(pond_in_grass()));
  EXPECT_EQ(std::accumulate(patches.area_px.begin(), patches.area_px.end(), 0.0F),
            static_cast<float>(kSize.area()));
  const std::vector<float> share = share_in(patches, mask_of(kPond));
  for (const PatchBorder& border : patches.borders) {
    const bool shore = (share[static_cast<std::size_t>(border.first)] > 0.5f) !=
                       (share[static_cast<std::size_t>(border.second)] > 0.5f);
    if (shore) {
      EXPECT_GT(border.contrast, 3);
    }
    EXPECT_GT(border.length_px, 0);
    EXPECT_LT(border.first, border.second);
  }
}

// Known in the middle of the pond and far out in the grass alone, and wrongly so in one patch of each, the
// outline is that of the colour.
TEST(CutAlongBorders, RunsAlongTheShoreWhateverIsKnownBesideIt) {
  const Patches patches = patches_of(lab_of(pond_in_grass()));
  const std::vector<float> deep = share_in(patches, mask_of({60, 50, 25, 15})),
                           pond = share_in(patches, mask_of(kPond));
  std::vector<float> log_odds(patches.count(), 0);
  for (std::size_t i = 0; i < log_odds.size(); ++i)
    log_odds[i] = deep[i] > 0.5f ? 4.0f : pond[i] > 0.5f ? 0.2f : -0.2f;
  log_odds.front() = 1;  // a corner of the grass
  const cv::Mat wrong = cut_along_borders(patches, log_odds) ^ mask_of(kPond);
  EXPECT_LT(cv::countNonZero(wrong), 0.02 * kPond.area());
}

TEST(CutAlongBorders, MarksAllOrNothingWhereAllAgree) {
  const Patches patches = patches_of(lab_of(pond_in_grass()));
  EXPECT_EQ(cv::countNonZero(cut_along_borders(patches, std::vector<float>(patches.count(), 1))),
            kSize.area());
  EXPECT_EQ(cv::countNonZero(cut_along_borders(patches, std::vector<float>(patches.count(), -1))), 0);
}

TEST(CutAlongBorders, FollowsTheLogOddsOfASinglePatch) {
  const Patches patch = patches_of(lab_of(cv::Mat(5, 5, CV_8UC3, kWater)));
  ASSERT_EQ(patch.count(), 1u);
  EXPECT_EQ(cv::countNonZero(cut_along_borders(patch, {1})), 25);
  EXPECT_EQ(cv::countNonZero(cut_along_borders(patch, {-1})), 0);
}

}  // namespace
}  // namespace lookdown::glare
