#include <gdal_priv.h>
#include <gtest/gtest.h>
#include <unistd.h>

#include <cmath>
#include <exiv2/exiv2.hpp>
#include <filesystem>
#include <fstream>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>

#include "pipeline/geometry/pose.h"
#include "stages/rectify/rectify.h"

namespace lookdown::rectify {
namespace {

class WriteRectified : public testing::Test {
 protected:
  void SetUp() override {
    folder_ = std::filesystem::temp_directory_path() / ("lookdown_rectified_" + std::to_string(::getpid()));
    std::filesystem::create_directories(folder_);
    camera_ = assumed_camera(800, 600);
    // A white disc on grey where the ground point (2, 3) is seen.
    pose_ = pose_from_down(Eigen::Vector3d(0, std::sin(0.4), std::cos(0.4)), 20);
    const auto p = project(pose_, camera_, {2, 3, 0});
    cv::Mat3b picture(600, 800, cv::Vec3b(90, 100, 110));
    cv::circle(picture, cv::Point(cvRound(p.x * 256), cvRound(p.y * 256)), 10 * 256, {255, 255, 255},
               cv::FILLED, cv::LINE_AA, 8);
    cv::imwrite((folder_ / "frame.png").string(), picture);
    record_.source.path = folder_ / "frame.png";
    record_.source.file = "frame.png";
    record_.source.width_px = 800;
    record_.source.height_px = 600;
  }
  void TearDown() override { std::filesystem::remove_all(folder_); }

  std::filesystem::path folder_;
  Camera camera_;
  Pose pose_;
  FrameRecord record_;
  FrameReader reader_;
};

TEST_F(WriteRectified, APointLandsAtItsGroundPositionInTheGeoTiff) {
  const auto view = view_from_pose(camera_, pose_, {});
  ASSERT_TRUE(view);
  const auto path = write_rectified(record_, *view, "EPSG:32638", folder_ / "frame.tif", {}, reader_);
  ASSERT_TRUE(path);
  GDALAllRegister();
  auto* dataset = static_cast<GDALDataset*>(GDALOpen(path->c_str(), GA_ReadOnly));
  ASSERT_NE(dataset, nullptr);
  double transform[6];
  ASSERT_EQ(dataset->GetGeoTransform(transform), CE_None);
  EXPECT_EQ(dataset->GetRasterCount(), 4);
  ASSERT_NE(dataset->GetSpatialRef(), nullptr);
  cv::Mat1b green(dataset->GetRasterYSize(), dataset->GetRasterXSize());
  ASSERT_EQ(dataset->GetRasterBand(2)->RasterIO(GF_Read, 0, 0, green.cols, green.rows, green.data, green.cols,
                                                green.rows, GDT_Byte, 0, 0),
            CE_None);
  GDALClose(dataset);
  const cv::Moments m = cv::moments(green > 180, true);
  const double column = m.m10 / m.m00 + 0.5, row = m.m01 / m.m00 + 0.5;
  EXPECT_NEAR(transform[0] + column * transform[1], 2, 0.03);
  EXPECT_NEAR(transform[3] + row * transform[5], 3, 0.03);
}

// Tags 305, 270, 315 and 33432 of TIFF 6.0, by GDAL's names for them.
TEST_F(WriteRectified, TheFileSaysWhatItIsAndKeepsAuthorAndCopyright) {
  const auto frame = Exiv2::ImageFactory::open(record_.source.path.string());
  frame->readMetadata();
  frame->exifData()["Exif.Image.Artist"] = "A. Reed";
  frame->exifData()["Exif.Image.Copyright"] = "2025 Reed";
  frame->writeMetadata();
  const auto view = view_from_pose(camera_, pose_, {});
  ASSERT_TRUE(view);
  const auto path = write_rectified(record_, *view, std::nullopt, folder_ / "frame.tif", {}, reader_);
  ASSERT_TRUE(path);
  GDALAllRegister();
  const GDALDatasetUniquePtr dataset(GDALDataset::Open(path->c_str()));
  ASSERT_TRUE(dataset);
  const auto tag = [&](const char* name) {
    return std::string(dataset->GetMetadataItem(name) ? dataset->GetMetadataItem(name) : "");
  };
  EXPECT_TRUE(tag("TIFFTAG_SOFTWARE").starts_with("lookdown "));
  EXPECT_EQ(tag("TIFFTAG_IMAGEDESCRIPTION"), "rectified: laid onto the ground plane; from frame.png");
  EXPECT_EQ(tag("TIFFTAG_ARTIST"), "A. Reed");
  EXPECT_EQ(tag("TIFFTAG_COPYRIGHT"), "2025 Reed");
}

// World file: pixel sizes, rotation, then the centre of the top-left pixel (GDAL documentation).
TEST_F(WriteRectified, WorldFileNamesTheCentreOfTheTopLeftPixel) {
  const auto view = view_from_pose(camera_, pose_, {});
  ASSERT_TRUE(view);
  ASSERT_TRUE(write_rectified(record_, *view, std::nullopt, folder_ / "frame.tif", {}, reader_));
  std::ifstream world(folder_ / "frame.tfw");
  double lines[6];
  for (double& line : lines) world >> line;
  EXPECT_NEAR(lines[0], view->gsd, 1e-9);
  EXPECT_EQ(lines[1], 0);
  EXPECT_NEAR(lines[3], -view->gsd, 1e-9);
  EXPECT_NEAR(lines[4], view->x_min + view->gsd / 2, 1e-6);
  EXPECT_NEAR(lines[5], view->y_max - view->gsd / 2, 1e-6);
}

TEST_F(WriteRectified, AMissingFrameLeavesNoFileBehind) {
  const auto view = view_from_pose(camera_, pose_, {});
  record_.source.path = folder_ / "none.png";
  EXPECT_FALSE(write_rectified(record_, *view, std::nullopt, folder_ / "none.tif", {}, reader_));
  EXPECT_FALSE(std::filesystem::exists(folder_ / "none.tif"));
}

}  // namespace
}  // namespace lookdown::rectify
