#include "stages/inspect/camera_choice.h"

#include <gtest/gtest.h>

#include <cmath>
#include <filesystem>
#include <opencv2/calib3d.hpp>
#include <opencv2/core.hpp>
#include <stdexcept>
#include <string>
#include <vector>

namespace lookdown::inspect {
namespace {

const std::string kIntrinsics = "/usr/share/doc/opencv-doc/examples/data/left_intrinsics.yml";

// CIPA DC-008 arithmetic: 10160 pixels an inch over 4000 pixels is a sensor 10.000 mm wide; with an 8 mm lens
// the focal length is 8 / 10 of the width.
TEST(CameraChoice, FocalPlaneResolutionInInchesGivesPixels) {
  ExifTags tags;
  tags.frame.focal_length_mm = 8;
  tags.focal_plane_x_px_per_mm = 10160 / 25.4;
  const Camera camera = choose_camera(tags, 4000, 3000, std::nullopt, {});
  EXPECT_NEAR(camera.fx_px, 3200, 1e-6);
  EXPECT_EQ(camera.focal_from, "Exif focal plane");
}

TEST(CameraChoice, ResizedCopyKeepsTheFieldOfView) {
  ExifTags tags;
  tags.frame.focal_length_mm = 8;
  tags.focal_plane_x_px_per_mm = 400;
  tags.pixel_x_dimension = 4000;
  tags.pixel_y_dimension = 3000;
  EXPECT_NEAR(choose_camera(tags, 1000, 750, std::nullopt, {}).fx_px, 800, 1e-6);
}

// 35 mm equivalent over the diagonal of 36 x 24 mm: for a 3:2 frame the same as over its width of 36 mm.
TEST(CameraChoice, ThirtyFiveMillimetreEquivalentUsesTheDiagonal) {
  ExifTags tags;
  tags.frame.focal_length_35mm = 36;
  EXPECT_NEAR(choose_camera(tags, 6000, 4000, std::nullopt, {}).fx_px, 6000, 1e-6);
  EXPECT_NEAR(choose_camera(tags, 4000, 3000, std::nullopt, {}).fx_px, 36 * 5000 / std::hypot(36, 24), 1e-6);
}

TEST(CameraChoice, WithoutAnyHintTheAssumptionIsStated) {
  const Camera camera = choose_camera({}, 4000, 3000, std::nullopt, {});
  EXPECT_EQ(camera.focal_from, "assumed");
  EXPECT_GE(camera.focal_sigma_share, 0.2);
}

TEST(CameraChoice, AGivenFocalLengthBeatsAllElse) {
  ExifTags tags;
  tags.frame.focal_length_35mm = 28;
  Options options;
  options.focal_px = 1234;
  EXPECT_EQ(choose_camera(tags, 4000, 3000, std::nullopt, options).fx_px, 1234);
}

// OpenCV's documentation pictures left01..14.jpg with their calibration: fx 535.916 for 640 x 480.
TEST(CameraChoice, OpenCvCalibrationFileIsReadAndScaled) {
  const Camera calibration = read_calibration(kIntrinsics);
  EXPECT_NEAR(calibration.fx_px, 535.916, 0.001);
  EXPECT_EQ(calibration.width_px, 640);
  EXPECT_NE(calibration.k1, 0);
  const Camera doubled = choose_camera({}, 1280, 960, calibration, {});
  EXPECT_NEAR(doubled.fx_px, 2 * 535.916, 0.002);
  EXPECT_EQ(doubled.k1, calibration.k1);
  EXPECT_EQ(choose_camera({}, 1280, 720, calibration, {}).focal_from, "assumed")
      << "another aspect is another camera";
}

/// What the 24-megapixel picture of npm's exif 0.6.0 says of itself, with a focal plane resolution added.
ExifTags known_body_and_lens() {
  ExifTags tags;
  tags.frame.make = "SONY";
  tags.frame.model = "ILCE-6000";
  tags.frame.lens = "E PZ 16-50mm F3.5-5.6 OSS";
  tags.frame.focal_length_mm = 22;
  tags.frame.focal_length_35mm = 33;
  tags.focal_plane_x_px_per_mm = 255.3;
  return tags;
}

// The order that the user is promised: calibration file, lens database, focal plane, 35 mm equivalent, a
// stated assumption.
TEST(CameraChoice, EachSourceStepsInWhenTheBetterOneIsMissing) {
  ExifTags tags = known_body_and_lens();
  Camera calibration = assumed_camera(6000, 4000);
  calibration.focal_from = "calibration file";
  EXPECT_EQ(choose_camera(tags, 6000, 4000, calibration, {}).focal_from, "calibration file");
  EXPECT_EQ(choose_camera(tags, 6000, 4000, std::nullopt, {}).focal_from, "lens database");
  tags.frame.model = "a body that no database knows";
  EXPECT_EQ(choose_camera(tags, 6000, 4000, std::nullopt, {}).focal_from, "Exif focal plane");
  tags.focal_plane_x_px_per_mm.reset();
  EXPECT_EQ(choose_camera(tags, 6000, 4000, std::nullopt, {}).focal_from, "Exif 35 mm");
  tags.frame.focal_length_35mm.reset();
  EXPECT_EQ(choose_camera(tags, 6000, 4000, std::nullopt, {}).focal_from, "assumed");
}

// Maker's data sheet of that body: sensor 23.5 x 15.6 mm; so 22 mm are 22 / 23.5 of 6000 pixels.
TEST(CameraChoice, LensDatabaseGivesSensorAndDistortion) {
  const ExifTags tags = known_body_and_lens();
  const Camera camera = choose_camera(tags, 6000, 4000, std::nullopt, {});
  EXPECT_NEAR(camera.fx_px, 22 / 23.5 * 6000, 0.01 * camera.fx_px);
  EXPECT_EQ(camera.distortion_from, "lens database");
  EXPECT_LT(camera.k1, 0) << "a kit zoom at its wide end is barrel distorted";
  const Camera resized = choose_camera(tags, 1500, 1000, std::nullopt, {});
  EXPECT_NEAR(resized.fx_px, camera.fx_px / 4, 1e-3 * resized.fx_px);
  EXPECT_NEAR(resized.k1, camera.k1, 0.02 * std::abs(camera.k1));
}

// A fisheye lens made to the stereographic projection, by its maker: r = 2 f tan(angle / 2), of 12 mm on 36 x
// 24 mm film (cropped by 1.534 on the body above). A marked focal length may be off by some 6 % (ISO 517,
// from memory), by which the equidistant projection is told from it at 55 degrees (8 %) and the rectilinear
// at 40.
TEST(CameraChoice, LensDatabaseKnowsFisheyes) {
  ExifTags tags = known_body_and_lens();
  tags.frame.lens = "Samyang 12mm f/2.8 Fish-Eye ED AS NCS";
  tags.frame.focal_length_mm = 12;
  const Camera camera = choose_camera(tags, 6000, 4000, std::nullopt, {});
  EXPECT_EQ(camera.projection, Projection::equidistant);
  const double focal_px = 12 / 23.5 * 6000;
  for (const double angle_deg : {5, 20, 40, 55}) {
    const double angle = angle_deg * CV_PI / 180;
    const auto seen = camera.distort({camera.cx_px + camera.fx_px * std::tan(angle), camera.cy_px});
    EXPECT_NEAR(seen.x - camera.cx_px, 2 * focal_px * std::tan(angle / 2), 0.06 * focal_px * angle)
        << angle_deg;
  }
}

// The same light on pixels that an editor has turned: the focal length in pixels does not change.
TEST(CameraChoice, PixelsStoredUprightKeepTheirFocalLength) {
  for (ExifTags tags : {known_body_and_lens(),
                        [] {
                          ExifTags plane;
                          plane.frame.focal_length_mm = 8;
                          plane.focal_plane_x_px_per_mm = 400;
                          return plane;
                        }(),
                        [] {
                          ExifTags film;
                          film.frame.focal_length_35mm = 28;
                          return film;
                        }()}) {
    tags.pixel_x_dimension = 6000;
    tags.pixel_y_dimension = 4000;
    const Camera lying = choose_camera(tags, 6000, 4000, std::nullopt, {});
    const Camera upright = choose_camera(tags, 4000, 6000, std::nullopt, {});
    EXPECT_NEAR(upright.fx_px, lying.fx_px, 1e-3 * lying.fx_px) << lying.focal_from;
  }
}

// A crop shows the same pixels, so each still subtends the same angle; a resized copy's pixels subtend more.
TEST(CameraChoice, ACropKeepsTheFocalLengthInPixels) {
  ExifTags tags;
  tags.frame.focal_length_mm = 8;
  tags.frame.focal_length_35mm = 29;
  tags.focal_plane_x_px_per_mm = 400;
  tags.pixel_x_dimension = 4000;
  tags.pixel_y_dimension = 3000;
  EXPECT_NEAR(choose_camera(tags, 3000, 1500, std::nullopt, {}).fx_px, 3200, 1e-6);
  tags.focal_plane_x_px_per_mm.reset();
  const double whole = choose_camera(tags, 4000, 3000, std::nullopt, {}).fx_px;
  EXPECT_NEAR(choose_camera(tags, 3000, 1500, std::nullopt, {}).fx_px, whole, 1e-6);
}

void write_with_opencv(const std::string& file, const cv::Mat& matrix, const cv::Mat& distortion) {
  cv::FileStorage storage(file, cv::FileStorage::WRITE);
  storage << "image_width" << 800 << "image_height" << 600 << "camera_matrix" << matrix
          << "distortion_coefficients" << distortion;
}

// OpenCV's own writer against our reader.
TEST(CameraChoice, CalibrationsThatOpenCvWritesAsYamlXmlAndJsonAreRead) {
  const cv::Mat matrix = (cv::Mat_<double>(3, 3) << 812.5, 0, 401.25, 0, 811, 299.5, 0, 0, 1);
  const cv::Mat distortion = (cv::Mat_<double>(1, 5) << -0.125, 1e-7, 0.001, -0.002, 0.5);
  for (const char* ending : {".yml", ".xml", ".json"}) {
    const std::string file =
        (std::filesystem::path(testing::TempDir()) / ("calibration" + std::string(ending))).string();
    write_with_opencv(file, matrix, distortion);
    const Camera camera = read_calibration(file);
    EXPECT_EQ(camera.width_px, 800) << ending;
    EXPECT_EQ(camera.height_px, 600) << ending;
    EXPECT_EQ(std::vector({camera.fx_px, camera.fy_px, camera.cx_px, camera.cy_px}),
              std::vector({812.5, 811.0, 401.25, 299.5}))
        << ending;
    EXPECT_EQ(std::vector({camera.k1, camera.k2, camera.p1, camera.p2, camera.k3}),
              std::vector({-0.125, 1e-7, 0.001, -0.002, 0.5}))
        << ending;
  }
}

// cv::fisheye's four terms, as OpenCV's calibration sample writes them with its flag.
TEST(CameraChoice, AFisheyeCalibrationIsReadWithItsFourTerms) {
  const cv::Matx33d matrix(412.5, 0, 401.25, 0, 411, 299.5, 0, 0, 1);
  const cv::Vec4d terms(0.04, -0.02, 0.006, -0.001);
  const std::string file = (std::filesystem::path(testing::TempDir()) / "fisheye.yml").string();
  {
    cv::FileStorage storage(file, cv::FileStorage::WRITE);
    storage << "image_width" << 800 << "image_height" << 600 << "fisheye_model" << 1 << "camera_matrix"
            << cv::Mat(matrix) << "distortion_coefficients" << cv::Mat(terms);
  }
  const Camera camera = read_calibration(file);
  ASSERT_EQ(camera.projection, Projection::equidistant);
  std::vector<cv::Point2d> seen;
  const std::vector<cv::Point2d> tangents{{0.1, 0}, {0.7, 0.4}, {-1.1, 0.8}};
  cv::fisheye::distortPoints(tangents, seen, matrix, terms);
  for (std::size_t i = 0; i < tangents.size(); ++i) {
    const auto ours = camera.distort(
        {tangents[i].x * camera.fx_px + camera.cx_px, tangents[i].y * camera.fy_px + camera.cy_px});
    EXPECT_NEAR(ours.x, seen[i].x, 0.5);
    EXPECT_NEAR(ours.y, seen[i].y, 0.5);
  }
}

TEST(CameraChoice, CalibrationsThatNothingCanBeComputedWithAreRefused) {
  const std::string file = (std::filesystem::path(testing::TempDir()) / "no_focal_length.yml").string();
  write_with_opencv(file, cv::Mat::zeros(3, 3, CV_64F), cv::Mat::zeros(1, 5, CV_64F));
  EXPECT_THROW((void)read_calibration(file), std::runtime_error);
}

TEST(CameraChoice, WrongCalibrationFileIsNamed) {
  EXPECT_THROW((void)read_calibration("/nowhere.yml"), std::runtime_error);
}

}  // namespace
}  // namespace lookdown::inspect
