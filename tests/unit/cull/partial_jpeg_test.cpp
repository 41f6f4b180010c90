// Parts read from the coded stream must be what a full decode gives (ITU-T T.81 lets decoders differ by one level).
#include "stages/cull/partial_jpeg.h"

#include <gtest/gtest.h>

#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>
#include <random>

#include "test_pictures.h"

namespace lookdown {
namespace {

cv::Mat scene() {
  const cv::Size size(333, 251);
  // Colours differ by factors only: the reduced decode of OpenCV keeps finer colour than one value a block.
  const cv::Mat leaves = test::noisy(test::dead_leaves(size, 1), 4, 1);
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
  const auto picture = cull::decode_parts(file, wanted);
  ASSERT_TRUE(picture);
  ASSERT_EQ(picture->parts.size(), wanted.size());
  for (std::size_t i = 0; i < wanted.size(); ++i) EXPECT_LE(cv::norm(picture->parts[i], whole(wanted[i]), cv::NORM_INF), 2) << i;
  const cv::Mat reduced = cv::imdecode(file, cv::IMREAD_REDUCED_COLOR_8);
  ASSERT_EQ(picture->overview.size(), reduced.size());
  EXPECT_LT(cv::norm(picture->overview, reduced, cv::NORM_L1) / (3.0 * static_cast<double>(reduced.total())), 3);
}

TEST(PartialJpeg, AgreesWithAFullDecodeAtAllQualities) {
  for (const int quality : {40, 75, 90, 100}) expect_like_full_decode(coded(scene(), {cv::IMWRITE_JPEG_QUALITY, quality}));
}

TEST(PartialJpeg, ReadsRestartIntervals) { expect_like_full_decode(coded(scene(), {cv::IMWRITE_JPEG_RST_INTERVAL, 7})); }

TEST(PartialJpeg, ReadsOptimisedTables) { expect_like_full_decode(coded(scene(), {cv::IMWRITE_JPEG_OPTIMIZE, 1})); }

TEST(PartialJpeg, ReadsGreyFiles) {
  cv::Mat grey;
  cv::cvtColor(scene(), grey, cv::COLOR_BGR2GRAY);
  expect_like_full_decode(coded(grey, {}));
}

TEST(PartialJpeg, LeavesProgressiveFilesToTheFullDecoder) {
  EXPECT_FALSE(cull::partial_decode_size(coded(scene(), {cv::IMWRITE_JPEG_PROGRESSIVE, 1})));
}

TEST(PartialJpeg, RefusesATruncatedFile) {
  auto file = coded(scene(), {});
  file.resize(file.size() / 2);
  EXPECT_FALSE(cull::decode_parts(file, {{0, 0, 64, 64}}));
}

TEST(PartialJpeg, SurvivesDamage) {
  // Any answer will do, as long as it stays inside its memory (the sanitizer builds watch) and ends.
  const auto file = coded(scene(), {cv::IMWRITE_JPEG_RST_INTERVAL, 5});
  std::mt19937 random(4);
  int readable = 0;
  for (int round = 0; round < 400; ++round) {
    auto damaged = file;
    for (int k = 0; k < 1 + round % 20; ++k) damaged[random() % damaged.size()] = static_cast<std::uint8_t>(random());
    const auto size = cull::partial_decode_size(damaged);
    if (!size || size->area() > 4'000'000 || size->width < 64 || size->height < 64) continue;
    readable += cull::decode_parts(damaged, {{0, 0, 64, 64}}).has_value();
  }
  EXPECT_LT(readable, 400);
}

}  // namespace
}  // namespace lookdown
