// Matching of rows against a stereo pair with published disparities: aloeL.jpg, aloeR.jpg and aloeGT.png of
// Debian's opencv-doc, from the Middlebury stereo data (Hirschmueller & Scharstein, "Evaluation of cost
// functions for stereo matching", CVPR 2007), and its measure, the share of bad pixels.
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <opencv2/imgcodecs.hpp>

#include "stages/surface/matching/plane_sweep.h"

namespace lookdown::surface {
namespace {

const std::string kPictures = "/usr/share/doc/opencv-doc/examples/data/";

struct Pair {
  cv::Mat left = cv::imread(kPictures + "aloeL.jpg", cv::IMREAD_GRAYSCALE),
          right = cv::imread(kPictures + "aloeR.jpg", cv::IMREAD_GRAYSCALE),
          truth = cv::imread(kPictures + "aloeGT.png", cv::IMREAD_GRAYSCALE);  ///< 0: not known
};

/// True where a thing in front hides the place from the right camera, or it lies beyond the right picture.
bool hidden_from_right(const cv::Mat& truth, int x, int y) {
  const int own = truth.at<uchar>(y, x);
  if (x < own) return true;
  for (int k = 1; k < 200 && x + k < truth.cols; ++k)
    if (truth.at<uchar>(y, x + k) >= own + k) return true;
  return false;
}

/// Of the places that both cameras see: share that is off by more than 2 pixels.
double bad_share(const cv::Mat& found, const cv::Mat& truth) {
  int both = 0, bad = 0;
  for (int y = 0; y < truth.rows; ++y)
    for (int x = 0; x < truth.cols; ++x) {
      const int given = truth.at<uchar>(y, x);
      if (given == 0 || hidden_from_right(truth, x, y)) continue;
      const float shift = found.at<float>(y, x);
      ++both;
      bad += !std::isfinite(shift) || std::abs(shift - float(given)) > 2;
    }
  return double(bad) / both;
}

constexpr float kLeastMargin = 0.02F;
constexpr int kShifts = 280;  // the pictures' stated range
constexpr int kStrip = 128, kMargin = 24;

/// Shift of each pixel of the left picture, strip by strip; NaN where the answer is not sure.
cv::Mat shifts_of(const Pair& pair) {
  cv::Mat shifts(pair.left.size(), CV_32FC1);
  for (int top = 0; top < shifts.rows; top += kStrip) {
    const cv::Rect inner(0, top, shifts.cols, std::min(kStrip, shifts.rows - top));
    const int first = std::max(0, top - kMargin), last = std::min(shifts.rows, inner.br().y + kMargin);
    const cv::Rect strip(0, first, shifts.cols, last - first);
    const Sweep task{strip.size(), kShifts, 2, [&](int view, int shift, const cv::Rect& part, cv::Mat& grey) {
                       if (view == 0) {
                         grey = cv::max(pair.left(strip)(part), 1);
                         return;
                       }
                       cv::Mat shifted = cv::Mat::zeros(strip.size(), CV_8UC1);
                       if (shift < strip.width)
                         cv::Mat(cv::max(pair.right(strip).colRange(0, strip.width - shift), 1))
                             .copyTo(shifted.colRange(shift, strip.width));
                       grey = shifted(part).clone();
                     }};
    const SweepAnswer answer = sweep(task);
    cv::Mat found = answer.hypothesis.clone();
    found.setTo(std::numeric_limits<float>::quiet_NaN(), answer.margin < kLeastMargin);
    found.rowRange(top - first, top - first + inner.height).copyTo(shifts(inner));
  }
  return shifts;
}

TEST(PublishedDisparities, ShareOfBadPixelsIsSmall) {
  const Pair pair;
  ASSERT_FALSE(pair.left.empty() || pair.right.empty() || pair.truth.empty())
      << "opencv-doc is not installed";
  EXPECT_LT(bad_share(shifts_of(pair), pair.truth), 0.15) << "what is not found counts as bad";
}

}  // namespace
}  // namespace lookdown::surface
