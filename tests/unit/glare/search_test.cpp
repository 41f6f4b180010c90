#include "stages/glare/glare_search.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <numbers>
#include <opencv2/core.hpp>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>
#include <random>

#include "painted_water.h"
#include "stages/glare/frame_masks.h"

namespace lookdown::glare {
namespace {

constexpr int kWidth = 640, kHeight = 480;

cv::Mat noisy(cv::Mat bgr, double sigma, std::uint32_t seed) {
  cv::Mat noise(bgr.size(), CV_16SC3), wide;
  cv::RNG random(seed);
  random.fill(noise, cv::RNG::NORMAL, 0, sigma);
  bgr.convertTo(wide, CV_16SC3);
  cv::Mat(wide + noise).convertTo(bgr, CV_8UC3);
  return bgr;
}

// A lake that fills the picture: brown-green, rippled by a few per cent, with the grain of a camera.
cv::Mat rippled_lake(const cv::Scalar& bgr_level = {62, 88, 86}) {
  cv::Mat bgr(kHeight, kWidth, CV_8UC3);
  for (int y = 0; y < kHeight; ++y)
    for (int x = 0; x < kWidth; ++x) {
      const double ripple = 1 + 0.04 * std::sin(2 * std::numbers::pi * (x * 0.8 + y * 0.6) / 17);
      for (int c = 0; c < 3; ++c)
        bgr.at<cv::Vec3b>(y, x)[c] = cv::saturate_cast<uchar>(bgr_level[c] * ripple);
    }
  return noisy(bgr, 1.5, 3);
}

// Crowns of leaves: bright tips, shade between them, green.
cv::Mat leaves() {
  cv::Mat bgr(kHeight, kWidth, CV_8UC3, cv::Scalar(20, 45, 35));
  std::mt19937 random(9);
  for (int i = 0; i < 9000; ++i) {
    const int level = 40 + static_cast<int>(random() % 140);
    cv::circle(bgr, {static_cast<int>(random() % kWidth), static_cast<int>(random() % kHeight)}, 3,
               cv::Scalar(level * 0.35, level, level * 0.75), cv::FILLED);
  }
  return bgr;
}

cv::Mat with_specks(cv::Mat bgr, int count, const cv::Scalar& colour, int radius_px, std::uint32_t seed) {
  std::mt19937 random(seed);
  for (int i = 0; i < count; ++i)
    cv::circle(
        bgr,
        {30 + static_cast<int>(random() % (kWidth - 60)), 30 + static_cast<int>(random() % (kHeight - 60))},
        radius_px, colour, cv::FILLED);
  return bgr;
}

FrameMasks searched(const cv::Mat& bgr) {
  const SearchResult found = search_picture(prepare(bgr));
  return frame_masks(found.water, found.glint, luma_of(bgr));
}

double share_of(const cv::Mat& mask) {
  return cv::countNonZero(mask) / static_cast<double>(mask.total());
}

TEST(Water, FillsTheFrameOrIsNotThere) {
  // The last two: olive lakes in the sun, mean levels of aerial pictures.
  for (const cv::Scalar& colour : {cv::Scalar(62, 88, 86), cv::Scalar(30, 30, 28), cv::Scalar(110, 105, 90),
                                   cv::Scalar(61, 104, 102), cv::Scalar(65, 110, 104)})
    EXPECT_GT(share_of(searched(rippled_lake(colour)).water), 0.95);
  EXPECT_LT(share_of(searched(leaves()).water), 0.02);
}

TEST(Water, EndsAtTheShore) {
  cv::Mat bgr = rippled_lake();
  leaves().colRange(0, kWidth / 2).copyTo(bgr.colRange(0, kWidth / 2));
  const cv::Mat water = searched(bgr).water;
  EXPECT_LT(share_of(water.colRange(0, kWidth / 2 - 8)), 0.03);
  EXPECT_GT(share_of(water.colRange(kWidth / 2 + 8, kWidth)), 0.95);
}

TEST(Water, GoesRoundWhatFloatsOnIt) {
  cv::Mat bgr = rippled_lake();
  const cv::Rect dock(250, 180, 120, 90);
  bgr(dock).setTo(cv::Scalar(225, 232, 235));
  EXPECT_LT(share_of(searched(bgr).water(dock)), 0.1);
}

// A patch that looks somewhat like water is water where something else begins at its outline, and lawn where
// the same goes on.
TEST(Water, EndsWhereSomethingElseBegins) {
  const cv::Rect patch(60, 60, 150, 100);
  const auto share_with = [&](const cv::Scalar& patch_bgr, double log_odds) {
    cv::Mat bgr(kHeight, kWidth, CV_8UC3, cv::Scalar(60, 84, 80));
    bgr(cv::Rect(patch.tl() * 2, patch.size() * 2)).setTo(patch_bgr);
    const WorkingPicture picture = prepare(bgr);
    cv::Mat odds(picture.calm_bgr.size(), CV_32FC1, cv::Scalar(-2));
    odds(patch).setTo(log_odds);
    return cv::countNonZero(water_mask(surface_look(picture), odds)) / static_cast<double>(patch.area());
  };
  EXPECT_GT(share_with({90, 80, 50}, 1.3), 0.9);
  EXPECT_EQ(share_with({60, 84, 80}, 1.3), 0);
}

TEST(Water, IsNoTextureOfDryGround) {
  // Gravel and grass as Debian's python3-skimage carries them. (Its close-up of a brick wall, smooth faces
  // and bright joints without colour, is taken for glittering water.)
  for (const char* name : {"gravel.png", "grass.png"}) {
    const cv::Mat bgr = cv::imread(std::string("/usr/lib/python3/dist-packages/skimage/data/") + name);
    ASSERT_FALSE(bgr.empty()) << name << " is not installed; tests/run_all installs it";
    EXPECT_LT(share_of(searched(bgr).glare), 0.001) << name;
  }
}

TEST(Glitter, IsManySmallBrightSpecks) {
  const cv::Mat lake = rippled_lake(), bgr = with_specks(lake.clone(), 700, {250, 252, 253}, 2, 5);
  cv::Mat truth;
  cv::absdiff(luma_of(bgr), luma_of(lake), truth);
  truth = truth > 60;
  const FrameMasks found = searched(bgr);
  EXPECT_GT(cv::countNonZero(found.glare & truth), 0.85 * cv::countNonZero(truth));
  EXPECT_LT(cv::countNonZero(found.glare & ~truth), 0.05 * cv::countNonZero(truth));
  EXPECT_EQ(cv::countNonZero(found.glare & ~found.water), 0);
}

TEST(Glitter, IsNotAFewFlecks) {
  EXPECT_EQ(share_of(searched(rippled_lake()).glare), 0);
  EXPECT_LT(share_of(searched(with_specks(rippled_lake(), 6, {250, 252, 253}, 2, 5)).glare), 1e-4);
}

TEST(Glitter, HasTheColourOfItsSource) {
  // Yellow petals on the water: no blue in what they add.
  EXPECT_LT(share_of(searched(with_specks(rippled_lake(), 700, {60, 230, 240}, 2, 5)).glare), 1e-4);
}

TEST(Glitter, IsNeitherBarsNorBoards) {
  cv::Mat bgr = rippled_lake();
  for (int i = 0; i < 8; ++i) cv::line(bgr, {120 + 30 * i, 100}, {120 + 30 * i, 260}, {240, 242, 243}, 3);
  cv::rectangle(bgr, cv::Rect(115, 98, 220, 165), cv::Scalar(240, 242, 243), 3);
  cv::rectangle(bgr, cv::Rect(430, 300, 60, 90), cv::Scalar(235, 240, 240), cv::FILLED);
  EXPECT_LT(share_of(searched(bgr).glare), 3e-4);
}

// A glint of one pixel of a large frame must not drown in the reduction that the search works on.
TEST(Glitter, SurvivesReduction) {
  const int factor = 5;
  cv::Mat bgr;
  cv::resize(rippled_lake(), bgr, {kWidth * factor, kHeight * factor}, 0, 0, cv::INTER_CUBIC);
  std::mt19937 random(6);
  cv::Mat truth = cv::Mat::zeros(bgr.size(), CV_8UC1);
  for (int i = 0; i < 6000; ++i) {
    const cv::Point at(100 + static_cast<int>(random() % (bgr.cols - 200)),
                       100 + static_cast<int>(random() % (bgr.rows - 200)));
    cv::rectangle(truth, cv::Rect(at, cv::Size(2, 2)), cv::Scalar(255), cv::FILLED);
  }
  bgr.setTo(cv::Scalar(252, 253, 253), truth);
  const FrameMasks found = searched(bgr);
  EXPECT_GT(cv::countNonZero(found.glare & truth), 0.8 * cv::countNonZero(truth));
  EXPECT_LT(cv::countNonZero(found.glare & ~truth), 0.05 * cv::countNonZero(truth));
}

TEST(Search, LeavesPaintedLandAlone) {
  double on_land = 0, land = 0;
  for (std::uint32_t seed = 90001; seed < 90007; ++seed) {
    painted::Choice choice;
    choice.seed = seed;
    choice.width_px = 768;
    choice.height_px = 512;
    const painted::Scene scene = painted::paint(choice);
    on_land += cv::countNonZero(searched(scene.bgr).glare & ~scene.water);
    land += cv::countNonZero(~scene.water);
  }
  EXPECT_LT(on_land / land, 0.01);
}

// Turned upside down, the picture has its answers upside down (the search has no sense of up).
TEST(Search, TurnsWithThePicture) {
  cv::Mat bgr = with_specks(rippled_lake(), 500, {250, 252, 253}, 2, 7), turned, back;
  leaves().colRange(0, kWidth / 3).copyTo(bgr.colRange(0, kWidth / 3));
  cv::rotate(bgr, turned, cv::ROTATE_180);
  const FrameMasks upright = searched(bgr), other = searched(turned);
  cv::rotate(other.water, back, cv::ROTATE_180);
  EXPECT_LT(share_of(upright.water ^ back), 0.02);
  cv::rotate(other.glare, back, cv::ROTATE_180);
  EXPECT_LT(cv::countNonZero(upright.glare ^ back), 0.1 * cv::countNonZero(upright.glare));
  EXPECT_GT(cv::countNonZero(upright.glare), 0);
}

TEST(Search, TakesTinyAndOddSizes) {
  for (const cv::Size size : {cv::Size(1, 1), cv::Size(2, 9), cv::Size(33, 5), cv::Size(1500, 3)}) {
    const FrameMasks found = searched(cv::Mat(size, CV_8UC3, cv::Scalar(120, 130, 140)));
    EXPECT_EQ(found.glare.size(), size);
    EXPECT_EQ(found.water.size(), size);
  }
}

// Dark water with many specks; amid them, and in a band along the picture's left, white outweighs dark.
cv::Mat dense_field(const cv::Rect& midst, const cv::Rect& band, std::uint64_t seed) {
  cv::RNG random(seed);
  cv::Mat picture(600, 800, CV_8UC3, cv::Scalar(60, 66, 58));
  const auto strew = [&](const cv::Rect& where, int count, int longest) {
    for (int i = 0; i < count; ++i) {
      const cv::Point at(where.x + random.uniform(0, where.width), where.y + random.uniform(0, where.height));
      cv::ellipse(picture, at, {random.uniform(1, longest), 1}, random.uniform(-20, 20), 0, 360,
                  cv::Scalar(245, 250, 250), -1);
    }
  };
  strew({120, 0, 680, 600}, 2500, 3);
  strew(midst, midst.area() / 35, 9);
  strew(band, band.area() / 35, 9);
  return picture;
}

TEST(Field, IsFoundWhereWhiteOutweighsDarkButNotInABandAlongTheWater) {
  const cv::Rect midst(350, 200, 220, 200), band(0, 0, 24, 600);
  const FrameMasks found = searched(dense_field(midst, band, 5));
  const double in_midst = static_cast<double>(cv::countNonZero(found.water(midst))) / midst.area(),
               glare_in_midst = static_cast<double>(cv::countNonZero(found.glare(midst))) / midst.area(),
               glare_in_band = static_cast<double>(cv::countNonZero(found.glare(band))) / band.area();
  EXPECT_GT(in_midst, 0.95);
  EXPECT_GT(glare_in_midst, 0.4);
  EXPECT_LT(glare_in_band, 0.1);
}

Glint empty_glint(cv::Size size) {
  const cv::Mat none = cv::Mat::zeros(size, CV_8UC1);
  return {none.clone(), none.clone(), none.clone(), none.clone(), cv::Mat(size, CV_8UC1, cv::Scalar(150))};
}

TEST(Masks, HoldWhatIsMarkedAndBrighterThanTheThreshold) {
  const cv::Mat water(50, 50, CV_8UC1, cv::Scalar(255));
  Glint glint = empty_glint({50, 50});
  glint.glitter.colRange(0, 25).setTo(255);
  cv::Mat luma(100, 100, CV_8UC1, cv::Scalar(100));
  luma.row(20).setTo(200);  // thinner than a pixel of the search
  const FrameMasks masks = frame_masks(water, glint, luma);
  EXPECT_EQ(cv::countNonZero(masks.glare), 50);
  EXPECT_EQ(cv::countNonZero(masks.glare.row(20).colRange(0, 50)), 50);
}

TEST(Shares, TellNoWaterFromWaterWithoutGlare) {
  const cv::Mat luma(50, 50, CV_8UC1, cv::Scalar(200)), wet(50, 50, CV_8UC1, cv::Scalar(255)),
      dry = cv::Mat::zeros(50, 50, CV_8UC1);
  Glint glint = empty_glint({50, 50});
  const auto of = [&](const cv::Mat& water) { return shares_of(frame_masks(water, glint, luma), glint); };
  EXPECT_EQ(of(dry).kind, "no water");
  EXPECT_FALSE(of(dry).readable_water_share);
  EXPECT_EQ(of(wet).kind, "none");
  EXPECT_EQ(of(wet).readable_water_share, 1.0);
  glint.smooth.rowRange(0, 10).setTo(255);
  EXPECT_EQ(of(wet).kind, "glint");
  EXPECT_DOUBLE_EQ(of(wet).glare_share, 0.2);
  EXPECT_DOUBLE_EQ(*of(wet).readable_water_share, 0.8);
  glint.glitter.rowRange(20, 40).setTo(255);
  EXPECT_EQ(of(wet).kind, "glitter");
  glint.veil.rowRange(0, 50).setTo(255);
  EXPECT_EQ(of(wet).kind, "sky");
}

}  // namespace
}  // namespace lookdown::glare
