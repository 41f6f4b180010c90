#include "stages/glare/copies/deglint.h"

#include <gtest/gtest.h>

#include <random>

namespace lookdown::glare {
namespace {

struct Pond {
  cv::Mat ground, glinting, glare;
  std::vector<Donor> donors;
};

// A frame with a glint, one donor a fifth darker that glints where the first does on its left half, one that
// looks at the left third only.
Pond glinting_pond() {
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
  const Pond p = glinting_pond();
  const Filled filled = fill_from(p.glinting, p.glare, p.donors);
  for (const cv::Rect& part : {cv::Rect(160, 70, 35, 60), cv::Rect(102, 70, 15, 60)}) {
    EXPECT_LE(cv::norm(filled.bgr(part), p.ground(part), cv::NORM_INF), 3);
    EXPECT_EQ(cv::countNonZero(filled.origin(part) != kFilled), 0);
  }
}

TEST(Deglint, LeavesWhatNoDonorShowsAndSaysSo) {
  const Pond p = glinting_pond();
  const Filled filled = fill_from(p.glinting, p.glare, p.donors);
  const cv::Rect nobody(125, 70, 20, 60);
  EXPECT_EQ(cv::norm(filled.bgr(nobody), p.glinting(nobody), cv::NORM_INF), 0);
  EXPECT_EQ(cv::countNonZero(filled.origin(nobody) != kGlareLeft), 0);
}

TEST(Deglint, TouchesNothingAwayFromGlare) {
  const Pond p = glinting_pond();
  const Filled filled = fill_from(p.glinting, p.glare, p.donors);
  const cv::Rect far(0, 0, 300, 50);
  EXPECT_EQ(cv::norm(filled.bgr(far), p.glinting(far), cv::NORM_INF), 0);
  EXPECT_EQ(cv::countNonZero(filled.origin(far)), 0);
  const Filled without = fill_from(p.glinting, p.glare, {});
  EXPECT_EQ(cv::norm(without.bgr, p.glinting, cv::NORM_INF), 0);
}

}  // namespace
}  // namespace lookdown::glare
