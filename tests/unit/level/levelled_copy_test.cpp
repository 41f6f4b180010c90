#include <gtest/gtest.h>
#include <unistd.h>

#include <algorithm>
#include <cmath>
#include <exiv2/exiv2.hpp>
#include <filesystem>
#include <numbers>
#include <opencv2/imgcodecs.hpp>
#include <set>

#include "pipeline/base/angles.h"
#include "stages/level/level.h"
#include "tests/unit/level/drawn_scene.h"

namespace lookdown::level {
namespace {

class LevelledCopy : public testing::Test {
 protected:
  void SetUp() override {
    folder_ = std::filesystem::temp_directory_path() / ("lookdown_levelled_" + std::to_string(::getpid()));
    std::filesystem::create_directories(folder_);
  }
  void TearDown() override { std::filesystem::remove_all(folder_); }

  /// A drawn frame on disk with Exif, a colour profile and a known horizon.
  FrameRecord frame(double roll_deg, int orientation) {
    FrameRecord record;
    record.source.path = folder_ / "A001.jpg";
    record.source.file = "A001.jpg";
    record.source.stem = "A001";
    record.source.format = "JPEG";
    record.source.width_px = 720;
    record.source.height_px = 480;
    record.source.orientation = orientation;
    record.info.camera = assumed_camera(720, 480);
    cv::imwrite(record.source.path.string(),
                drawn_scene(record.info.camera, {roll_deg * kDegree, -8 * kDegree}, orientation, 4),
                {cv::IMWRITE_JPEG_QUALITY, 95});
    const auto file = Exiv2::ImageFactory::open(record.source.path.string());
    file->readMetadata();
    file->exifData()["Exif.Image.Orientation"] = static_cast<std::uint16_t>(orientation);
    file->exifData()["Exif.Photo.FocalLength"] = Exiv2::Rational(28, 1);
    Exiv2::DataBuf profile(3144);
    std::fill(profile.pData_, profile.pData_ + 3144, Exiv2::byte{7});
    profile.pData_[0] = 0;
    profile.pData_[1] = 0;
    profile.pData_[2] = 3144 / 256;
    profile.pData_[3] = 3144 % 256;
    file->setIccProfile(profile, false);
    file->writeMetadata();
    record.horizon = Horizon{};
    record.horizon->roll_deg = roll_deg;
    return record;
  }

  std::filesystem::path folder_;
  FrameReader reader_;
};

TEST_F(LevelledCopy, HorizonOfTheCopyIsLevel) {
  for (const int orientation : {1, 6}) {
    const FrameRecord record = frame(9, orientation);
    const auto path = write_levelled(record, folder_ / "out", {}, reader_);
    ASSERT_TRUE(path);
    FrameSource copy;
    copy.path = *path;
    copy.file = "copy";
    const auto header = reader_.header(*path);
    ASSERT_TRUE(header);
    EXPECT_EQ(header->width_px > header->height_px, orientation == 1);
    FrameInfo info;
    info.camera = assumed_camera(header->width_px, header->height_px);
    copy.width_px = header->width_px;
    copy.height_px = header->height_px;
    FramePixels pixels(reader_, copy);
    const Finding finding = find(pixels, info, {});
    ASSERT_TRUE(finding.horizon);
    EXPECT_NEAR(finding.horizon->roll_deg, 0, 0.15);
  }
}

TEST_F(LevelledCopy, ExifIsCarriedOverWithOrientationAndColourSpaceOfTheCopy) {
  const auto path = write_levelled(frame(3, 6), folder_ / "out", {}, reader_);
  ASSERT_TRUE(path);
  const auto copy = Exiv2::ImageFactory::open(path->string());
  copy->readMetadata();
  EXPECT_EQ(copy->exifData()["Exif.Image.Orientation"].toLong(), 1);
  EXPECT_EQ(copy->exifData()["Exif.Photo.FocalLength"].toRational().first, 28);
  EXPECT_EQ(copy->exifData()["Exif.Photo.PixelXDimension"].toLong(), copy->pixelWidth());
  // The reader brings colours to sRGB: the original's profile would be wrong for the copy (Exif 2.32,
  // ColorSpace 1 = sRGB).
  EXPECT_FALSE(copy->iccProfileDefined());
  EXPECT_EQ(copy->exifData()["Exif.Photo.ColorSpace"].toLong(), 1);
}

TEST_F(LevelledCopy, TransparentCopyHoldsTheWholeFrame) {
  CopyOptions options;
  options.fill = "transparent";
  const auto path = write_levelled(frame(10, 1), folder_ / "out", options, reader_);
  ASSERT_TRUE(path);
  const cv::Mat copy = cv::imread(path->string(), cv::IMREAD_UNCHANGED);
  ASSERT_EQ(copy.channels(), 4);
  cv::Mat alpha;
  cv::extractChannel(copy, alpha, 3);
  // The turned frame keeps its area.
  EXPECT_NEAR(cv::countNonZero(alpha), 719.0 * 479.0, 0.005 * 720 * 480);
  EXPECT_EQ(alpha.at<uchar>(0, 0), 0);
}

TEST_F(LevelledCopy, CropHasTheAskedShape) {
  CopyOptions options;
  options.aspect = 1.0;
  const auto path = write_levelled(frame(10, 1), folder_ / "out", options, reader_);
  ASSERT_TRUE(path);
  const cv::Mat copy = cv::imread(path->string());
  EXPECT_NEAR(copy.cols, copy.rows, 1);
}

// 4096 levels of light where eight bits have 16: a slow change of tone keeps them only in a copy of 16 bits.
TEST_F(LevelledCopy, KeepsSixteenBitsWhenAsked) {
  FrameRecord record = frame(4, 1);
  record.source.path = folder_ / "A001.tif";
  record.source.format = "TIFF";
  cv::Mat slow(480, 720, CV_16UC3);
  for (int row = 0; row < slow.rows; ++row)
    for (int column = 0; column < slow.cols; ++column)
      slow.at<cv::Vec<ushort, 3>>(row, column) =
          cv::Vec<ushort, 3>::all(static_cast<ushort>(20000 + 4096 * column / slow.cols));
  cv::imwrite(record.source.path.string(), slow);
  CopyOptions options;
  options.bits = "16";
  const auto deep = write_levelled(record, folder_ / "deep", options, reader_);
  const auto plain = write_levelled(record, folder_ / "plain", {}, reader_);
  ASSERT_TRUE(deep && plain);
  const auto levels_of = [](const std::filesystem::path& path, int type) {
    const cv::Mat copy = cv::imread(path.string(), cv::IMREAD_UNCHANGED);
    EXPECT_EQ(copy.type(), type);
    std::set<double> levels;
    cv::Mat grey;
    cv::extractChannel(copy, grey, 1);
    grey.convertTo(grey, CV_64F);
    for (int column = 0; column < grey.cols; ++column) levels.insert(grey.at<double>(grey.rows / 2, column));
    return levels.size();
  };
  EXPECT_GT(levels_of(*deep, CV_16UC3), 400U);
  EXPECT_LE(levels_of(*plain, CV_8UC3), 18U);
}

TEST_F(LevelledCopy, FrameWithoutHorizonSaysWhy) {
  FrameRecord record = frame(0, 1);
  record.horizon.reset();
  const auto path = write_levelled(record, folder_ / "out", {}, reader_);
  ASSERT_FALSE(path);
  EXPECT_NE(path.error().message().find("A001.jpg"), std::string::npos);
  EXPECT_NE(path.error().message().find("horizon"), std::string::npos);
}

}  // namespace
}  // namespace lookdown::level
