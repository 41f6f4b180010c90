#include "pipeline/imaging/frame_reader.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <unistd.h>

#include <filesystem>
#include <fstream>
#include <opencv2/core.hpp>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>

namespace lookdown {
namespace {

namespace fs = std::filesystem;
using ::testing::HasSubstr;

cv::Mat soft_picture(int width, int height) {
  cv::Mat picture(height, width, CV_8UC3);
  cv::randu(picture, 0, 255);
  cv::GaussianBlur(picture, picture, {}, 6);
  cv::normalize(picture, picture, 0, 255, cv::NORM_MINMAX);
  return picture;
}

class FrameReaderTest : public ::testing::Test {
 protected:
  FrameReaderTest() { fs::create_directories(folder_); }
  ~FrameReaderTest() override { fs::remove_all(folder_); }
  fs::path folder_ = fs::temp_directory_path() / ("lookdown_reader_" + std::to_string(::getpid()));
  FrameReader reader_;
};

TEST_F(FrameReaderTest, FormatIsKnownByContentNotByEnding) {
  cv::imwrite((folder_ / "a.png").string(), soft_picture(90, 70));
  fs::rename(folder_ / "a.png", folder_ / "a.jpg");
  const auto header = reader_.header(folder_ / "a.jpg");
  ASSERT_TRUE(header);
  EXPECT_EQ(header->format, "PNG");
  EXPECT_EQ(header->width_px, 90);
  EXPECT_EQ(header->height_px, 70);
}

TEST_F(FrameReaderTest, LosslessFormatsComeBackUnchanged) {
  const cv::Mat picture = soft_picture(101, 67);
  for (const char* name : {"a.png", "a.tif"}) {
    cv::imwrite((folder_ / name).string(), picture);
    const auto read = reader_.bgr(folder_ / name);
    ASSERT_TRUE(read) << read.error().message();
    EXPECT_EQ(cv::norm(*read, picture, cv::NORM_INF), 0) << name;
  }
}

TEST_F(FrameReaderTest, SixteenBitStaysSixteenBitWhenAskedFor) {
  cv::Mat deep(64, 80, CV_16UC3);
  cv::randu(deep, 0, 65535);
  cv::imwrite((folder_ / "deep.tif").string(), deep);
  const auto native = reader_.bgr_native(folder_ / "deep.tif");
  ASSERT_TRUE(native);
  EXPECT_EQ(cv::norm(*native, deep, cv::NORM_INF), 0);
  const auto eight = reader_.bgr(folder_ / "deep.tif");
  ASSERT_TRUE(eight);
  EXPECT_EQ(eight->type(), CV_8UC3);
  EXPECT_NEAR(eight->at<cv::Vec3b>(5, 5)[1], (deep.at<cv::Vec<ushort, 3>>(5, 5)[1] / 257.0), 0.51);
}

TEST_F(FrameReaderTest, JpegAgreesWithOpenCvsDecoderWithinRounding) {
  cv::imwrite((folder_ / "a.jpg").string(), soft_picture(203, 151), {cv::IMWRITE_JPEG_QUALITY, 92});
  const auto ours = reader_.bgr(folder_ / "a.jpg");
  ASSERT_TRUE(ours);
  EXPECT_LE(cv::norm(*ours, cv::imread((folder_ / "a.jpg").string()), cv::NORM_INF), 2);
}

TEST_F(FrameReaderTest, ReducedDecodeIsTheAreaMeanAndRoundsSizesUp) {
  cv::imwrite((folder_ / "a.jpg").string(), soft_picture(203, 151), {cv::IMWRITE_JPEG_QUALITY, 98});
  const auto full = reader_.grey(folder_ / "a.jpg");
  ASSERT_TRUE(full);
  for (const int reduction : {2, 4, 8}) {
    const auto small = reader_.grey(folder_ / "a.jpg", reduction);
    ASSERT_TRUE(small);
    EXPECT_EQ(small->cols, (203 + reduction - 1) / reduction);
    EXPECT_EQ(small->rows, (151 + reduction - 1) / reduction);
    const double mean = cv::mean((*full)(cv::Rect(80, 80, 8, 8)))[0];
    const double small_mean =
        cv::mean((*small)(cv::Rect(80 / reduction, 80 / reduction, 8 / reduction, 8 / reduction)))[0];
    EXPECT_NEAR(small_mean, mean, 2.0) << "reduction " << reduction;
  }
}

TEST_F(FrameReaderTest, TruncatedJpegSaysHowFarItGoes) {
  cv::imwrite((folder_ / "a.jpg").string(), soft_picture(320, 240), {cv::IMWRITE_JPEG_QUALITY, 95});
  fs::resize_file(folder_ / "a.jpg", fs::file_size(folder_ / "a.jpg") / 3);
  const auto read = reader_.bgr(folder_ / "a.jpg");
  ASSERT_FALSE(read);
  EXPECT_THAT(read.error().message(), HasSubstr("of 240 rows"));
  EXPECT_THAT(read.error().message(), HasSubstr("copy it again"));
}

TEST_F(FrameReaderTest, WhatIsNoPictureIsAFaultThatNamesTheFile) {
  std::ofstream(folder_ / "text.jpg") << "these are words";
  std::ofstream(folder_ / "empty.jpg");
  fs::create_directory(folder_ / "folder.jpg");
  for (const char* name : {"text.jpg", "empty.jpg", "folder.jpg", "missing.jpg"}) {
    const auto read = reader_.bgr(folder_ / name);
    ASSERT_FALSE(read) << name;
    EXPECT_THAT(read.error().message(), HasSubstr(name));
  }
}

TEST_F(FrameReaderTest, TooManyPixelsAreRefusedFromTheHeader) {
  cv::imwrite((folder_ / "big.png").string(), cv::Mat::zeros(2000, 3000, CV_8UC1));
  const FrameReader strict({1'000'000, 100'000'000});
  const auto read = strict.bgr(folder_ / "big.png");
  ASSERT_FALSE(read);
  EXPECT_THAT(read.error().message(), HasSubstr("3000 x 2000"));
}

TEST(ReducedPositions, PixelCentresAreKept) {
  EXPECT_DOUBLE_EQ(stored_from_reduced(0, 4), 1.5);
  EXPECT_DOUBLE_EQ(reduced_from_stored(stored_from_reduced(7.25, 8), 8), 7.25);
}

}  // namespace
}  // namespace lookdown
