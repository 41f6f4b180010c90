#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cmath>
#include <exiv2/exiv2.hpp>
#include <opencv2/core.hpp>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>

#include "made_dng/made_dng.h"
#include "pipeline/imaging/formats/raw_decode.h"
#include "pipeline/imaging/frame_reader.h"
#include "program_run.h"

namespace lookdown {
namespace {

namespace fs = std::filesystem;
using ::testing::HasSubstr;

// Six patches of known linear light, as red, green, blue.
const std::vector<cv::Vec3d> kPatches{{0.5, 0.5, 0.5},  {0.18, 0.18, 0.18}, {0.6, 0.1, 0.1},
                                      {0.1, 0.5, 0.15}, {0.05, 0.1, 0.6},   {0.9, 0.8, 0.2}};
constexpr int kPatchPx = 64;

cv::Mat patches() {
  cv::Mat linear(2 * kPatchPx, 3 * kPatchPx, CV_64FC3);
  for (std::size_t i = 0; i < kPatches.size(); ++i) {
    const cv::Rect where(static_cast<int>(i % 3) * kPatchPx, static_cast<int>(i / 3) * kPatchPx, kPatchPx,
                         kPatchPx);
    linear(where).setTo(cv::Scalar(kPatches[i][2], kPatches[i][1], kPatches[i][0]));
  }
  return linear;
}

cv::Rect middle_of(std::size_t patch, int reduction = 1) {
  const int side = kPatchPx / reduction;
  return {static_cast<int>(patch % 3) * side + side / 4, static_cast<int>(patch / 3) * side + side / 4,
          side / 2, side / 2};
}

// IEC 61966-2-1, clause 5.2.
double srgb_coded(double light) {
  return light <= 0.0031308 ? 12.92 * light : 1.055 * std::pow(light, 1 / 2.4) - 0.055;
}

class RawFrames : public ::testing::Test {
 protected:
  void SetUp() override {
    if (!raw_is_available()) GTEST_SKIP() << "this build has no LibRaw";
  }
  TemporaryFolder folder_;
  FrameReader reader_;
};

TEST_F(RawFrames, KnownMosaicOfTheSensorIsDevelopedWithTheCamerasWhiteBalance) {
  const fs::path file = folder_.path() / "shot.DNG";
  write_dng(file, {patches(), {}, {0.5, 1.0, 0.625}, "2025:05:14 10:31:02", 1});
  const auto header = reader_.header(file);
  ASSERT_TRUE(header) << header.error().message();
  EXPECT_EQ(header->format, "RAW");
  EXPECT_EQ(header->width_px, 3 * kPatchPx);
  EXPECT_EQ(header->height_px, 2 * kPatchPx);
  const auto developed = reader_.bgr_native(file);
  ASSERT_TRUE(developed) << developed.error().message();
  ASSERT_EQ(developed->type(), CV_16UC3);
  for (std::size_t patch = 0; patch < kPatches.size(); ++patch) {
    const cv::Scalar mean = cv::mean((*developed)(middle_of(patch)));
    for (int channel = 0; channel < 3; ++channel)
      EXPECT_NEAR(mean[2 - channel] / 65535, srgb_coded(kPatches[patch][channel]), 0.01)
          << "patch " << patch << " channel " << channel;
  }
}

TEST_F(RawFrames, HalfSizeShowsTheSameAsFullSize) {
  const fs::path file = folder_.path() / "shot.dng";
  write_dng(file, {patches(), {}, {0.5, 1.0, 0.625}, "2025:05:14 10:31:02", 1});
  for (const int reduction : {2, 4, 8}) {
    const auto small = reader_.bgr(file, reduction);
    ASSERT_TRUE(small);
    EXPECT_EQ(small->type(), CV_8UC3);
    EXPECT_EQ(small->cols, reduced_length(3 * kPatchPx, reduction));
    EXPECT_EQ(small->rows, reduced_length(2 * kPatchPx, reduction));
    for (std::size_t patch = 0; patch < kPatches.size(); ++patch)
      for (int channel = 0; channel < 3; ++channel)
        EXPECT_NEAR(cv::mean((*small)(middle_of(patch, reduction)))[2 - channel] / 255,
                    srgb_coded(kPatches[patch][channel]), 0.01);
  }
}

// A camera's JPEG leaves out a rim: the developed frame is cut to the same extent, so that both show a mark
// in the same place.
TEST_F(RawFrames, TheCamerasOwnJpegServesForMeasuringAndLiesOnTheDevelopedFrame) {
  cv::Mat linear(600, 800, CV_64FC3, cv::Scalar::all(0.05));
  cv::circle(linear, {310, 250}, 24, cv::Scalar::all(0.8), cv::FILLED);
  cv::Mat preview(592, 792, CV_8UC3, cv::Scalar(60, 60, 60));
  cv::circle(preview, {310 - 4, 250 - 4}, 24, cv::Scalar(0, 200, 230), cv::FILLED);
  const fs::path file = folder_.path() / "shot.dng";
  write_dng(file, {linear, preview, {0.5, 1.0, 0.625}, "2025:05:14 10:31:02", 1});
  const auto header = reader_.header(file);
  ASSERT_TRUE(header);
  EXPECT_EQ(header->width_px, 792);
  EXPECT_EQ(header->height_px, 592);
  const auto quick = reader_.bgr(file, 1, RawPixels::quick), developed = reader_.bgr(file, 1);
  ASSERT_TRUE(quick && developed);
  // JPEG's loss at the rim of the mark is large in a few pixels and small in the mean.
  EXPECT_LT(cv::norm(*quick, preview, cv::NORM_L1) / static_cast<double>(3 * preview.total()), 1);
  ASSERT_EQ(quick->size(), developed->size());
  const auto centre_of = [](const cv::Mat& bgr) {
    cv::Mat red, bright;
    cv::extractChannel(bgr, red, 2);
    cv::threshold(red, bright, 140, 255, cv::THRESH_BINARY);
    const cv::Moments moments = cv::moments(bright, true);
    return cv::Point2d(moments.m10 / moments.m00, moments.m01 / moments.m00);
  };
  EXPECT_LT(cv::norm(centre_of(*quick) - centre_of(*developed)), 0.5);
}

TEST_F(RawFrames, APreviewOfAnotherSizeIsNotTakenForTheFrame) {
  const fs::path file = folder_.path() / "shot.dng";
  write_dng(file, {patches(),
                   cv::Mat(64, 96, CV_8UC3, cv::Scalar(255, 0, 0)),
                   {0.5, 1.0, 0.625},
                   "2025:05:14 10:31:02",
                   1});
  const auto quick = reader_.bgr(file, 1, RawPixels::quick), grey = reader_.grey(file, 2, RawPixels::quick);
  ASSERT_TRUE(quick && grey);
  EXPECT_EQ(quick->size(), cv::Size(3 * kPatchPx, 2 * kPatchPx));
  EXPECT_NEAR(cv::mean((*quick)(middle_of(0)))[0] / 255, srgb_coded(0.5), 0.01);
  EXPECT_EQ(grey->type(), CV_8UC1);
}

TEST_F(RawFrames, PixelsComeAsStoredWhateverTheOrientation) {
  const fs::path file = folder_.path() / "shot.dng";
  write_dng(file, {patches(), {}, {0.5, 1.0, 0.625}, "2025:05:14 10:31:02", 6});
  const auto developed = reader_.bgr(file);
  ASSERT_TRUE(developed);
  EXPECT_EQ(developed->size(), cv::Size(3 * kPatchPx, 2 * kPatchPx));
}

TEST_F(RawFrames, ATruncatedFileAndAnythingElseWithARawEndingIsAFault) {
  const fs::path file = folder_.path() / "shot.dng";
  write_dng(file, {patches(), {}, {0.5, 1.0, 0.625}, "2025:05:14 10:31:02", 1});
  fs::resize_file(file, 600);
  EXPECT_FALSE(reader_.bgr(file));
  cv::imwrite((folder_.path() / "a.tif").string(), cv::Mat(100, 100, CV_8UC3, cv::Scalar(1, 2, 3)));
  fs::rename(folder_.path() / "a.tif", folder_.path() / "a.nef");
  const auto read = reader_.bgr(folder_.path() / "a.nef");
  ASSERT_FALSE(read);
  EXPECT_THAT(read.error().message(), HasSubstr("a.nef"));
}

}  // namespace
}  // namespace lookdown
