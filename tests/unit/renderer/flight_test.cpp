#include "flight.h"

#include <gtest/gtest.h>
#include <tbb/global_control.h>

#include <algorithm>
#include <cmath>
#include <exiv2/exiv2.hpp>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <nlohmann/json.hpp>
#include <opencv2/imgcodecs.hpp>
#include <sstream>

#include "camera/camera.h"

namespace render {
namespace {

namespace fs = std::filesystem;

FlightRequest small_request(const fs::path& folder) {
  FlightRequest request;
  request.width_px = 480;
  request.height_px = 320;
  request.flight.count = 14;
  request.flight.seed = 5;
  request.flight.obliques = 1;
  request.flight.launch = 1;
  request.flight.blurred_share = 0.3;
  request.masks = true;
  request.folder = folder.string();
  return request;
}

std::string content(const fs::path& path) {
  std::ifstream in(path, std::ios::binary);
  return {std::istreambuf_iterator<char>(in), {}};
}

// One small flight for all tests of this file.
class RendererFlight : public ::testing::Test {
 protected:
  static void SetUpTestSuite() {
    folder_ = fs::temp_directory_path() / ("renderer_flight_" + std::to_string(::getpid()));
    render_flight(small_request(folder_));
    truth_ = nlohmann::json::parse(content(folder_ / "truth.json"));
  }
  static void TearDownTestSuite() { fs::remove_all(folder_); }
  static inline fs::path folder_;
  static inline nlohmann::json truth_;
};

TEST_F(RendererFlight, SameSeedGivesTheSameBytesOnOneThread) {
  const fs::path other = folder_ / "again";
  tbb::global_control one(tbb::global_control::max_allowed_parallelism, 1);
  FlightRequest request = small_request(other);
  request.only = {1, 5, 14};
  render_flight(request);
  for (const char* name : {"A001.jpg", "A005.jpg", "A014.jpg", "truth/A005_glare.png"})
    EXPECT_EQ(content(folder_ / name), content(other / name)) << name;
}

TEST_F(RendererFlight, MaskSharesAreThoseOfTheMaskPicturesAndGlareLiesOnWater) {
  for (const auto& frame : truth_["frames"]) {
    const cv::Mat glare =
        cv::imread(folder_ / frame["masks"]["glare"].get<std::string>(), cv::IMREAD_UNCHANGED);
    const cv::Mat water =
        cv::imread(folder_ / frame["masks"]["water"].get<std::string>(), cv::IMREAD_UNCHANGED);
    ASSERT_EQ(glare.size(), cv::Size(480, 320));
    EXPECT_NEAR(frame["glare_share"].get<double>(), cv::countNonZero(glare) / double(glare.total()), 1e-9);
    EXPECT_NEAR(frame["water_share"].get<double>(), cv::countNonZero(water) / double(water.total()), 1e-9);
    EXPECT_EQ(cv::countNonZero(glare & ~water), 0);
  }
}

TEST_F(RendererFlight, MarksLieOnTheBoardsCentreInThePicture) {
  std::istringstream marks(content(folder_ / "marks.csv"));
  std::string line;
  std::getline(marks, line);
  EXPECT_EQ(line, "file,name,x_px,y_px");
  int checked = 0;
  while (std::getline(marks, line)) {
    std::istringstream row(line);
    std::string file, name, x_text, y_text;
    std::getline(row, file, ',');
    std::getline(row, name, ',');
    std::getline(row, x_text, ',');
    std::getline(row, y_text, ',');
    const double x = std::stod(x_text), y = std::stod(y_text);
    const cv::Mat grey = cv::imread(folder_ / file, cv::IMREAD_GRAYSCALE | cv::IMREAD_IGNORE_ORIENTATION);
    // A two-by-two checker is symmetric under a half turn about its centre and has both tones around it.
    const int reach = 3;
    if (x < reach || y < reach || x > 479 - reach || y > 319 - reach) continue;
    double low = 255, high = 0;
    for (int j = -reach; j <= reach; ++j)
      for (int i = -reach; i <= reach; ++i) {
        const double v = grey.at<uint8_t>(int(std::lround(y)) + j, int(std::lround(x)) + i);
        low = std::min(low, v);
        high = std::max(high, v);
      }
    EXPECT_GT(high - low, 70) << line;
    ++checked;
  }
  EXPECT_GE(checked, 1);
}

TEST_F(RendererFlight, TruthPoseProjectsControlToTheMarks) {
  std::map<std::string, Vec3> control;
  std::istringstream points(content(folder_ / "control.csv"));
  std::string line;
  std::getline(points, line);
  while (std::getline(points, line)) {
    double x, y, z;
    char name[16];
    ASSERT_EQ(std::sscanf(line.c_str(), "%15[^,],%lf,%lf,%lf", name, &x, &y, &z), 4);
    control[name] = {x, y, z};
  }
  ASSERT_EQ(control.size(), 4U);
  std::map<std::string, nlohmann::json> frames;
  for (const auto& frame : truth_["frames"]) frames[frame["file"]] = frame;
  std::istringstream marks(content(folder_ / "marks.csv"));
  std::getline(marks, line);
  int checked = 0;
  while (std::getline(marks, line)) {
    char file[16], name[16];
    double x, y;
    ASSERT_EQ(std::sscanf(line.c_str(), "%15[^,],%15[^,],%lf,%lf", file, name, &x, &y), 4);
    const auto& f = frames.at(file);
    const auto& k = truth_["camera"];
    const Vec3 world = control.at(name);
    double d[3], c[3] = {0, 0, 0};
    const double w[3] = {world.x, world.y, world.z};
    for (int i = 0; i < 3; ++i) d[i] = w[i] - f["centre_m"][size_t(i)].get<double>();
    // rotation is camera->world, row-major: its transpose takes the world to the camera.
    for (int i = 0; i < 3; ++i)
      for (int j = 0; j < 3; ++j) c[i] += f["rotation"][size_t(3 * j + i)].get<double>() * d[j];
    const double u = c[0] / c[2], v = c[1] / c[2], r2 = u * u + v * v;
    const double radial =
        1 + r2 * (k["k1"].get<double>() + r2 * (k["k2"].get<double>() + r2 * k["k3"].get<double>()));
    EXPECT_NEAR(k["fx_px"].get<double>() * u * radial + k["cx_px"].get<double>(), x, 0.02);
    EXPECT_NEAR(k["fy_px"].get<double>() * v * radial + k["cy_px"].get<double>(), y, 0.02);
    ++checked;
  }
  EXPECT_GE(checked, 1);
}

TEST_F(RendererFlight, ExifStatesFocalLengthTimeAndOrientationButNoPosition) {
  for (const auto& frame : truth_["frames"]) {
    auto image = Exiv2::ImageFactory::open((folder_ / frame["file"].get<std::string>()).string());
    image->readMetadata();
    Exiv2::ExifData& exif = image->exifData();
    EXPECT_EQ(exif["Exif.Photo.FocalLengthIn35mmFilm"].toLong(), 28);
    EXPECT_EQ(exif["Exif.Image.Orientation"].toLong(), frame["orientation"].get<int>());
    EXPECT_EQ(exif["Exif.Photo.DateTimeOriginal"].toString().size(), 19U);
    for (const auto& datum : exif) EXPECT_NE(datum.groupName(), "GPSInfo");
  }
}

double mean_green(const cv::Mat& picture, double x, double y, int half_px) {
  const cv::Rect around(static_cast<int>(x) - half_px, static_cast<int>(y) - half_px, 2 * half_px + 1,
                        2 * half_px + 1);
  const cv::Rect inside = around & cv::Rect({}, picture.size());
  return inside.area() == around.area() ? cv::mean(picture(inside))[1] : 0;
}

// What reaches the sensor at the optical axis over what the ground there sends up is the exposure that Exif
// states, t S / N^2 (ISO 2720: the meter's equation), whatever the meter and the photographer chose.
TEST(RendererExposure, ExifStatesTheLightThatWasAdmitted) {
  const fs::path folder = fs::temp_directory_path() / ("renderer_exposure_" + std::to_string(::getpid()));
  FlightRequest request = small_request(folder);
  request.flight.obliques = request.flight.launch = 0;
  request.flight.blurred_share = 0;
  request.cloud_shadow = 0;
  request.masks = false;
  request.linear_light = request.ground_picture = true;
  request.ground_gsd_m = 0.05;
  render_flight(request);
  const auto truth = nlohmann::json::parse(content(folder / "truth.json"));
  const cv::Mat ground = cv::imread((folder / "light" / "ground.png").string(), cv::IMREAD_UNCHANGED);
  const double gsd_m = truth["ground"]["gsd_m"], x0_m = truth["ground"]["x0_m"],
               y1_m = truth["ground"]["y1_m"];
  int agree = 0, compared = 0;
  double least = 1e9, most = 0;
  for (const auto& frame : truth["frames"]) {
    const fs::path file = frame["file"].get<std::string>();
    const cv::Mat light = cv::imread((folder / "light" / fs::path(file).replace_extension(".png")).string(),
                                     cv::IMREAD_UNCHANGED);
    const double fall = frame["centre_m"][2].get<double>() / frame["rotation"][8].get<double>();
    const double x_m = frame["centre_m"][0].get<double>() - fall * frame["rotation"][2].get<double>(),
                 y_m = frame["centre_m"][1].get<double>() - fall * frame["rotation"][5].get<double>();
    const int half_px = 6;
    const double pixel_m = frame["height_m"].get<double>() / truth["camera"]["fx_px"].get<double>();
    const double sent = mean_green(ground, (x_m - x0_m) / gsd_m, (y1_m - y_m) / gsd_m,
                                   static_cast<int>(std::lround(half_px * pixel_m / gsd_m)));
    const double reached = mean_green(light, truth["camera"]["cx_px"].get<double>(),
                                      truth["camera"]["cy_px"].get<double>(), half_px);
    if (sent <= 0 || reached <= 0) continue;
    const auto image = Exiv2::ImageFactory::open((folder / file).string());
    image->readMetadata();
    Exiv2::ExifData& exif = image->exifData();
    const double f_number = exif["Exif.Photo.FNumber"].toFloat();
    const double exposure = exif["Exif.Photo.ExposureTime"].toFloat() *
                            static_cast<double>(exif["Exif.Photo.ISOSpeedRatings"].toLong()) /
                            (f_number * f_number);
    const double usual = 200.0 / 1250 / 16;  // 0 EV of this camera
    ++compared;
    agree += std::abs(std::log(reached / sent / (exposure / usual))) < 0.08;
    least = std::min(least, exposure);
    most = std::max(most, exposure);
  }
  fs::remove_all(folder);
  EXPECT_GE(compared, 10);
  EXPECT_GT(most / least, 1.5);
  EXPECT_GE(agree, 0.6 * compared) << "of " << compared
                                   << "; water and things that stand are no part of the ground picture";
}

TEST(RendererRequest, UnknownSceneIsRefused) {
  FlightRequest request;
  request.scene = "moon";
  request.folder = "unused";
  EXPECT_THROW(render_flight(request), std::invalid_argument);
  EXPECT_FALSE(fs::exists("unused"));
}

}  // namespace
}  // namespace render
