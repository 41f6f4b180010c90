#include "stages/place/features/features.h"

#include <gtest/gtest.h>

#include <cmath>
#include <opencv2/imgproc.hpp>
#include <random>

namespace lookdown::place {
namespace {

/// Gaussian blobs of standard deviation `sigma` at known sub-pixel centres.
cv::Mat blobs(const std::vector<cv::Point2d>& centres, double sigma, cv::Size size) {
  cv::Mat picture(size, CV_32F, cv::Scalar(60));
  for (const auto& c : centres)
    for (int y = std::max(0, int(c.y - 5 * sigma)); y < std::min(size.height, int(c.y + 5 * sigma)); ++y)
      for (int x = std::max(0, int(c.x - 5 * sigma)); x < std::min(size.width, int(c.x + 5 * sigma)); ++x)
        picture.at<float>(y, x) +=
            float(150 * std::exp(-((x - c.x) * (x - c.x) + (y - c.y) * (y - c.y)) / (2 * sigma * sigma)));
  cv::Mat grey;
  picture.convertTo(grey, CV_8U);
  return grey;
}

std::vector<cv::Point2d> scattered(int columns, int rows, double step, unsigned seed) {
  std::mt19937 random(seed);
  std::uniform_real_distribution<double> unit(-0.5, 0.5);
  std::vector<cv::Point2d> centres;
  for (int r = 1; r < rows; ++r)
    for (int c = 1; c < columns; ++c)
      centres.emplace_back(c * step + 10 * unit(random), r * step + 10 * unit(random));
  return centres;
}

cv::Point2d mean_offset(const FrameFeatures& found, const std::vector<cv::Point2d>& centres, double factor) {
  cv::Point2d sum;
  int count = 0;
  for (const auto& c : centres)
    for (const Feature& s : found.spots) {
      const cv::Point2d off(s.x_px - ((c.x + 0.5) * factor - 0.5), s.y_px - ((c.y + 0.5) * factor - 0.5));
      if (std::hypot(off.x, off.y) > 1.5 * factor) continue;
      sum += off;
      ++count;
    }
  return count > 0 ? cv::Point2d(sum.x / count, sum.y / count) : cv::Point2d(99, 99);
}

TEST(Features, SpotsLieOnTheCentresOfBlobs) {
  const auto centres = scattered(16, 12, 40, 5);
  for (double sigma : {2.0, 4.0}) {
    const FrameFeatures found = find_features(blobs(centres, sigma, {640, 480}), 640, 480, {}, {});
    const cv::Point2d off = mean_offset(found, centres, 1);
    EXPECT_NEAR(off.x, 0, 0.05) << "sigma " << sigma;
    EXPECT_NEAR(off.y, 0, 0.05) << "sigma " << sigma;
  }
}

TEST(Features, SpotsOfAReducedCopyAreGivenInPixelsOfTheFrameAsStored) {
  const auto centres = scattered(16, 12, 40, 6);
  const FrameFeatures found = find_features(blobs(centres, 3, {640, 480}), 1280, 960, {}, {});
  const cv::Point2d off = mean_offset(found, centres, 2);
  EXPECT_NEAR(off.x, 0, 0.1);
  EXPECT_NEAR(off.y, 0, 0.1);
  EXPECT_NEAR(found.work_scale, 0.5, 1e-6);
}

TEST(Features, AreasLeftOutHoldNoSpots) {
  const auto centres = scattered(16, 12, 40, 7);
  cv::Mat left_out(240, 320, CV_8UC1, cv::Scalar(0));
  left_out.colRange(0, 160).setTo(255);
  const FrameFeatures found = find_features(blobs(centres, 3, {640, 480}), 640, 480, left_out, {});
  ASSERT_GT(found.size(), 20U);
  for (const Feature& s : found.spots) EXPECT_GE(s.x_px, 318);
}

TEST(Features, PackedSpotsComeBackAndDamageIsNoticed) {
  const FrameFeatures found = find_features(blobs(scattered(16, 12, 40, 8), 3, {640, 480}), 640, 480, {}, {});
  const std::string packed = pack(found);
  FrameFeatures back;
  ASSERT_TRUE(unpack(packed, back));
  ASSERT_EQ(back.size(), found.size());
  EXPECT_EQ(back.descriptors, found.descriptors);
  EXPECT_EQ(back.spots[3].x_px, found.spots[3].x_px);
  EXPECT_FALSE(unpack(packed.substr(0, packed.size() / 2), back));
  EXPECT_FALSE(unpack("", back));
}

}  // namespace
}  // namespace lookdown::place
