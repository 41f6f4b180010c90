#include "stages/glare/water/shore.h"

#include <gtest/gtest.h>

#include <opencv2/imgproc.hpp>

#include "stages/glare/picture/plane_math.h"

namespace lookdown::glare {
namespace {

const cv::Size kShoreSize(200, 150);

std::vector<double> shares(const cv::Mat& bgr, const cv::Mat& mask) {
  cv::Mat labels;
  const int count = cv::connectedComponents(mask, labels, 4, CV_32S);
  return open_outline_shares(lab_of(bgr), labels, count);
}

cv::Mat marked(const cv::Rect& where) {
  cv::Mat mask = cv::Mat::zeros(kShoreSize, CV_8UC1);
  mask(where).setTo(255);
  return mask;
}

TEST(OpenOutline, IsNoneRoundAPondAndAllOfAPatchAmidTheSame) {
  const cv::Rect pond(30, 30, 60, 60);
  cv::Mat bgr(kShoreSize, CV_8UC3, cv::Scalar(60, 110, 90));
  bgr(pond).setTo(cv::Scalar(90, 80, 50));
  EXPECT_LT(shares(bgr, marked(pond))[1], 0.01);
  EXPECT_GT(shares(bgr, marked({130, 30, 50, 60}))[1], 0.99);
}

TEST(OpenOutline, IsAsLongAsThePartWithoutAStep) {
  // Of the four equal sides of the patch one lies amid the pond.
  cv::Mat bgr(kShoreSize, CV_8UC3, cv::Scalar(60, 110, 90));
  bgr(cv::Rect(30, 30, 120, 60)).setTo(cv::Scalar(90, 80, 50));
  EXPECT_NEAR(shares(bgr, marked({30, 30, 60, 60}))[1], 0.25, 0.05);
}

TEST(OpenOutline, TheBorderOfThePictureIsNone) {
  const cv::Mat bgr(kShoreSize, CV_8UC3, cv::Scalar(60, 110, 90));
  EXPECT_EQ(shares(bgr, marked({{0, 0}, kShoreSize}))[1], 0);
}

}  // namespace
}  // namespace lookdown::glare
