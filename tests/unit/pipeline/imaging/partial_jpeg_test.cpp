// Parts read from the coded stream must be what a full decode gives (ITU-T T.81 lets decoders differ by one
// level).
#include "pipeline/imaging/partial_jpeg/partial_jpeg.h"

#include <gtest/gtest.h>

#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>
#include <random>

namespace lookdown {
namespace {

cv::Mat scene() {
  const cv::Size size(333, 251);
  // Discs of many sizes with some noise: edges in all directions.
  cv::RNG random(1);
  cv::Mat discs(size, CV_32F, cv::Scalar(120)), leaves(size, CV_32F);
  for (int i = 0; i < 700; ++i)
    cv::circle(discs, {random.uniform(0, size.width), random.uniform(0, size.height)}, random.uniform(2, 25),
               random.uniform(40, 210), cv::FILLED, cv::LINE_8);
  random.fill(leaves, cv::RNG::NORMAL, 0, 4);
  leaves += discs;
  // Colours differ by factors only: the reduced decode of OpenCV keeps finer colour than one value a block.
  cv::Mat colour;
  cv::merge(std::vector<cv::Mat>{leaves * 0.9, leaves, leaves * 0.95}, colour);
  cv::Mat bytes;
  colour.convertTo(bytes, CV_8UC3);
  return bytes;
}

std::vector<std::uint8_t> coded(const cv::Mat& picture, const std::vector<int>& options) {
  std::vector<std::uint8_t> file;
  cv::imencode(".jpg", picture, file, options);
  return file;
}

void expect_like_full_decode(const std::vector<std::uint8_t>& file) {
  const cv::Mat whole = cv::imdecode(file, cv::IMREAD_GRAYSCALE);
  const std::vector<cv::Rect> wanted = {{0, 0, 64, 64}, {128, 96, 96, 48}, {264, 200, 69, 51}};
  const auto picture = PartialJpeg::open(file);
  ASSERT_TRUE(picture);
  EXPECT_EQ(picture->size(), whole.size());
  for (const cv::Rect& part : wanted) {
    const cv::Mat luminance = picture->luminance(part);
    ASSERT_EQ(luminance.size(), part.size());
    EXPECT_LE(cv::norm(luminance, whole(part), cv::NORM_INF), 2) << part;
  }
  const cv::Mat reduced = cv::imdecode(file, cv::IMREAD_REDUCED_COLOR_8), overview = picture->overview();
  ASSERT_EQ(overview.size(), reduced.size());
  EXPECT_LT(cv::norm(overview, reduced, cv::NORM_L1) / (3.0 * static_cast<double>(reduced.total())), 3);
}

TEST(PartialJpeg, AgreesWithAFullDecodeAtAllQualities) {
  for (const int quality : {40, 75, 90, 100})
    expect_like_full_decode(coded(scene(), {cv::IMWRITE_JPEG_QUALITY, quality}));
}

TEST(PartialJpeg, ReadsRestartIntervals) {
  expect_like_full_decode(coded(scene(), {cv::IMWRITE_JPEG_RST_INTERVAL, 7}));
}

TEST(PartialJpeg, ReadsOptimisedTables) {
  expect_like_full_decode(coded(scene(), {cv::IMWRITE_JPEG_OPTIMIZE, 1}));
}

TEST(PartialJpeg, ReadsGreyFiles) {
  cv::Mat grey;
  cv::cvtColor(scene(), grey, cv::COLOR_BGR2GRAY);
  expect_like_full_decode(coded(grey, {}));
}

TEST(PartialJpeg, LeavesProgressiveFilesToTheFullDecoder) {
  EXPECT_FALSE(PartialJpeg::open(coded(scene(), {cv::IMWRITE_JPEG_PROGRESSIVE, 1})));
}

TEST(PartialJpeg, RefusesATruncatedFile) {
  auto file = coded(scene(), {});
  file.resize(file.size() / 2);
  EXPECT_FALSE(PartialJpeg::open(file));
}

TEST(PartialJpeg, SurvivesDamage) {
  // Any answer will do, as long as it stays inside its memory (the sanitizer builds watch) and ends.
  const auto file = coded(scene(), {cv::IMWRITE_JPEG_RST_INTERVAL, 5});
  std::mt19937 random(4);
  int readable = 0;
  for (int round = 0; round < 400; ++round) {
    auto damaged = file;
    for (int k = 0; k < 1 + round % 20; ++k)
      damaged[random() % damaged.size()] = static_cast<std::uint8_t>(random());
    const auto picture = PartialJpeg::open(damaged);
    if (picture && picture->size().width >= 64 && picture->size().height >= 64)
      readable += !picture->luminance({0, 0, 64, 64}).empty();
  }
  EXPECT_LT(readable, 400);
}

}  // namespace
}  // namespace lookdown
