#include <gtest/gtest.h>

#include <algorithm>
#include <opencv2/core.hpp>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>
#include <random>

#include "painted_water.h"
#include "stages/glare/boosted_trees.h"
#include "stages/glare/glare_search.h"

namespace lookdown::glare {
namespace {

// Seeds far from those that the training program uses (1, 2, ...).
constexpr std::uint32_t kUnseenSeeds = 90001;

TEST(Trees, PlaneWiseSumEqualsThePlainOne) {
  std::mt19937 random(3);
  FeaturePlanes features;
  for (int f = 0; f < 3; ++f) {
    cv::Mat plane(7, 11, CV_32FC1);
    for (auto& v : cv::Mat_<float>(plane)) v = static_cast<float>(random() % 1000) / 1000;
    features.planes.push_back(plane);
  }
  std::vector<Tree> trees(5);
  for (Tree& tree : trees) {
    for (int k = 0; k < kTreeDepth; ++k)
      tree.feature[k] = static_cast<int>(random() % 3),
      tree.limit[k] = static_cast<float>(random() % 1000) / 1000;
    for (float& v : tree.value) v = static_cast<float>(random() % 1000) / 500 - 1;
  }
  const cv::Mat sum = log_odds({0.25f, trees}, features);
  for (int y = 0; y < 7; ++y)
    for (int x = 0; x < 11; ++x) {
      float plain = 0.25f;
      for (const Tree& tree : trees) {
        int leaf = 0;
        for (int k = 0; k < kTreeDepth; ++k)
          if (features.planes[tree.feature[k]].at<float>(y, x) > tree.limit[k]) leaf += 1 << k;
        plain += tree.value[leaf];
      }
      EXPECT_FLOAT_EQ(sum.at<float>(y, x), plain);
    }
}

TEST(OwnColour, LooksUnderTheGlitter) {
  const cv::Vec3b deep(60, 90, 80);
  cv::Mat bgr(300, 400, CV_8UC3, cv::Scalar(deep));
  std::mt19937 random(5);
  for (int i = 0; i < 900; ++i)
    cv::circle(bgr, {static_cast<int>(random() % 400), static_cast<int>(random() % 300)}, 2, {250, 250, 250},
               cv::FILLED);
  const WorkingPicture picture = prepare(bgr);
  const cv::Mat own = own_colour(picture, cv::Mat(bgr.size(), CV_32FC1, cv::Scalar(1))).wide;
  cv::Mat plain(1, 1, CV_8UC3, cv::Scalar(deep));
  const cv::Vec3f expected = prepare(plain).linear.at<cv::Vec3f>(0, 0);
  for (int y = 20; y < 300; y += 60)
    for (int x = 20; x < 400; x += 60)
      for (int c = 0; c < 3; ++c) EXPECT_NEAR(own.at<cv::Vec3f>(y, x)[c], expected[c], 0.01);
}

TEST(OwnColour, OnePondDoesNotLendToTheNext) {
  cv::Mat bgr(300, 600, CV_8UC3, cv::Scalar(60, 120, 60)), water = cv::Mat::zeros(300, 600, CV_32FC1);
  bgr(cv::Rect(20, 20, 250, 260)).setTo(cv::Scalar(30, 25, 20));
  bgr(cv::Rect(330, 20, 250, 260)).setTo(cv::Scalar(90, 130, 170));
  water(cv::Rect(20, 20, 250, 260)).setTo(1);
  water(cv::Rect(330, 20, 250, 260)).setTo(1);
  const WorkingPicture picture = prepare(bgr);
  const OwnColour own = own_colour(picture, water);
  for (const cv::Point at : {cv::Point(255, 150), cv::Point(345, 150)})
    for (int c = 0; c < 3; ++c)
      EXPECT_NEAR(own.wide.at<cv::Vec3f>(at)[c], picture.linear.at<cv::Vec3f>(at)[c], 0.01);
}

TEST(OwnColour, IsZeroWhereThereIsNoWater) {
  const WorkingPicture picture = prepare(cv::Mat(100, 100, CV_8UC3, cv::Scalar(90, 90, 90)));
  EXPECT_EQ(cv::norm(own_colour(picture, cv::Mat::zeros(100, 100, CV_32FC1)).wide), 0);
}

// Over several painted scenes together: most glare in plain sight found, little land or crust taken for it.
// The floors are those of a usable mask, well below what the search reaches, because painted land is stranger
// than any real one.
TEST(Search, FindsPaintedGlareAndLeavesLandAlone) {
  double hit = 0, any = 0, on_land = 0, land = 0;
  for (std::uint32_t i = 0; i < 10; ++i) {
    painted::Choice choice;
    choice.seed = kUnseenSeeds + i;
    choice.width_px = 768;
    choice.height_px = 512;
    choice.sun_elevation_deg = 66;
    const painted::Scene scene = painted::paint(choice);
    const SearchResult found = search_picture(scene.bgr);
    const cv::Mat dark = scene.glare & ~scene.visible_glare, glare = (found.glare > 0.5f) & ~dark;
    hit += cv::countNonZero(glare & scene.visible_glare);
    any += cv::countNonZero(glare | scene.visible_glare);
    on_land += cv::countNonZero(glare & ~scene.water);
    land += cv::countNonZero(~scene.water);
  }
  ASSERT_GT(any, 0);
  EXPECT_GT(hit / any, 0.45);
  EXPECT_LT(on_land / land, 0.02);
}

// Turned upside down, the picture has its glare upside down (the search has no sense of up).
TEST(Search, TurnsWithThePicture) {
  painted::Choice choice;
  choice.seed = kUnseenSeeds + 2;
  choice.width_px = 768;
  choice.height_px = 512;
  const cv::Mat bgr = painted::paint(choice).bgr;
  cv::Mat turned, back;
  cv::rotate(bgr, turned, cv::ROTATE_180);
  cv::rotate(search_picture(turned).water, back, cv::ROTATE_180);
  cv::Mat difference = cv::abs(search_picture(bgr).water - back);
  EXPECT_LT(cv::mean(difference)[0], 0.05);
}

// Textures of dry ground that Debian's python3-skimage carries.
TEST(Search, FindsNoGlareOnGravelBrickAndGrass) {
  for (const char* name : {"gravel.png", "brick.png", "grass.png"}) {
    const cv::Mat bgr = cv::imread(std::string("/usr/lib/python3/dist-packages/skimage/data/") + name);
    if (bgr.empty()) FAIL() << name << " is not installed; tests/run_all installs it";
    const SearchResult found = search_picture(bgr);
    EXPECT_LT(cv::countNonZero(found.glare > 0.5f), 0.003 * bgr.total()) << name;
  }
}

TEST(Search, TakesTinyAndOddSizes) {
  for (const cv::Size size : {cv::Size(1, 1), cv::Size(2, 9), cv::Size(33, 5), cv::Size(1500, 3)}) {
    const cv::Mat bgr(size, CV_8UC3, cv::Scalar(120, 130, 140));
    const SearchResult found = search_picture(bgr);
    cv::Mat grey(size, CV_8UC1, cv::Scalar(130));
    EXPECT_EQ(masks_above(found.water, found.limit, grey).glare.size(), size);
  }
}

TEST(Masks, GlareIsWhatIsBrighterThanTheLimitOnWater) {
  cv::Mat water(50, 50, CV_32FC1, cv::Scalar(0.1)), limit(25, 25, CV_8UC1, cv::Scalar(150)),
      frame(100, 100, CV_8UC1, cv::Scalar(100));
  water.colRange(0, 25).setTo(0.9);
  frame.row(20).setTo(200);  // thinner than a pixel of the limit
  const Masks masks = masks_above(water, limit, frame);
  EXPECT_EQ(cv::countNonZero(masks.glare & ~masks.water), 0);
  EXPECT_EQ(cv::countNonZero(masks.glare.colRange(0, 40)), 40);
  EXPECT_EQ(cv::countNonZero(masks.glare.row(20).colRange(0, 40)), 40);
  EXPECT_EQ(cv::countNonZero(masks.glare.colRange(60, 100)), 0);
}

}  // namespace
}  // namespace lookdown::glare
