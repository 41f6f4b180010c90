// What is done with glare once it is found: the frame with the least of it, and copies filled from other
// frames.
#include <gtest/gtest.h>

#include <opencv2/core.hpp>
#include <random>

#include "stages/glare/clearest_views.h"
#include "stages/glare/deglint.h"

namespace lookdown::glare {
namespace {

MaskedView view_at(double x_px, int index, cv::Rect glare) {
  MaskedView view;
  view.place.camera.width_px = 400;
  view.place.camera.height_px = 300;
  view.place.camera.fx_px = view.place.camera.fy_px = 350;
  view.place.camera.cx_px = 199.5;
  view.place.camera.cy_px = 149.5;
  view.place.mosaic_from_frame.matrix << 1, 0, x_px, 0, 1, 0, 0, 0, 1;
  view.glare = cv::Mat::zeros(300, 400, CV_8UC1);
  view.glare(glare).setTo(255);
  view.index = index;
  return view;
}

TEST(ClearestViews, NameTheFrameWithTheLeastGlareAtEachSpot) {
  // Both frames see mosaic columns 200..399; the glint of the first lies there, that of the second beyond the
  // first's reach.
  const auto spots =
      clearest_views({view_at(0, 3, {240, 100, 120, 100}), view_at(200, 7, {240, 100, 120, 100})}, 12, 0.02);
  ASSERT_FALSE(spots.empty());
  int shared = 0;
  for (const Spot& spot : spots) {
    EXPECT_GT(spot.worst_glare_share, 0.02);
    if (spot.views == 2 && spot.x_px > 260 && spot.x_px < 340) {
      ++shared;
      EXPECT_EQ(spot.frame, 7);
      EXPECT_EQ(spot.glare_share, 0);
    }
    if (spot.x_px > 450) {
      EXPECT_EQ(spot.views, 1) << "only the second looks there";
    }
  }
  EXPECT_GT(shared, 0);
}

TEST(ClearestViews, AreEmptyWithoutGlare) {
  EXPECT_TRUE(clearest_views({view_at(0, 0, {}), view_at(100, 1, {})}, 8, 0.02).empty());
  EXPECT_TRUE(clearest_views({}, 8, 0.02).empty());
}

TEST(ClearestViews, PreferTheFrameStraightAboveWhenNoneGlaresThere) {
  // The third frame alone glares on the spot; of the two clean ones the nearer centre wins.
  const auto spots = clearest_views(
      {view_at(-150, 0, {}), view_at(20, 1, {}), view_at(0, 2, {150, 100, 100, 100})}, 10, 0.02);
  ASSERT_FALSE(spots.empty());
  for (const Spot& spot : spots)
    if (spot.views == 3) {
      EXPECT_EQ(spot.frame, 1);
    }
}

struct Pond {
  cv::Mat ground, glinting, glare;
  std::vector<Donor> donors;
};

// A frame with a glint, one donor a fifth darker that glints where the first does on its left half, one that
// looks at the left third only.
Pond pond() {
  Pond p;
  p.ground.create(200, 300, CV_8UC3);
  std::mt19937 random(4);
  for (auto& v : cv::Mat_<cv::Vec3b>(p.ground))
    v = {static_cast<uchar>(80 + random() % 60), static_cast<uchar>(90 + random() % 60),
         static_cast<uchar>(70 + random() % 60)};
  p.glare = cv::Mat::zeros(200, 300, CV_8UC1);
  p.glare(cv::Rect(100, 60, 100, 80)).setTo(255);
  p.glinting = p.ground.clone();
  p.glinting.setTo(cv::Scalar(250, 250, 250), p.glare);
  cv::Mat darker;
  p.ground.convertTo(darker, -1, 0.8);
  cv::Mat half = p.glare.clone();
  half.colRange(150, 300).setTo(0);
  p.donors.push_back({darker, half, cv::Mat(200, 300, CV_8UC1, cv::Scalar(255))});
  cv::Mat seen = cv::Mat::zeros(200, 300, CV_8UC1);
  seen.colRange(0, 120).setTo(255);
  p.donors.push_back({p.ground.clone(), cv::Mat::zeros(200, 300, CV_8UC1), seen});
  return p;
}

TEST(Deglint, FillsFromCleanDonorsAtTheExposureOfTheFrame) {
  const Pond p = pond();
  const Filled filled = fill_from(p.glinting, p.glare, p.donors);
  for (const cv::Rect& part : {cv::Rect(160, 70, 35, 60), cv::Rect(102, 70, 15, 60)}) {
    EXPECT_LE(cv::norm(filled.bgr(part), p.ground(part), cv::NORM_INF), 3);
    EXPECT_EQ(cv::countNonZero(filled.origin(part) != kFilled), 0);
  }
}

TEST(Deglint, LeavesWhatNoDonorShowsAndSaysSo) {
  const Pond p = pond();
  const Filled filled = fill_from(p.glinting, p.glare, p.donors);
  const cv::Rect nobody(125, 70, 20, 60);
  EXPECT_EQ(cv::norm(filled.bgr(nobody), p.glinting(nobody), cv::NORM_INF), 0);
  EXPECT_EQ(cv::countNonZero(filled.origin(nobody) != kGlareLeft), 0);
}

TEST(Deglint, TouchesNothingAwayFromGlare) {
  const Pond p = pond();
  const Filled filled = fill_from(p.glinting, p.glare, p.donors);
  const cv::Rect far(0, 0, 300, 50);
  EXPECT_EQ(cv::norm(filled.bgr(far), p.glinting(far), cv::NORM_INF), 0);
  EXPECT_EQ(cv::countNonZero(filled.origin(far)), 0);
  const Filled without = fill_from(p.glinting, p.glare, {});
  EXPECT_EQ(cv::norm(without.bgr, p.glinting, cv::NORM_INF), 0);
}

}  // namespace
}  // namespace lookdown::glare
