// Horizons of real pictures that package registries carry, and pictures there that show none.
#include <gtest/gtest.h>

#include <filesystem>
#include <numbers>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>

#include "stages/level/level.h"

namespace lookdown::level {
namespace {

std::optional<Horizon> horizon_of(const std::filesystem::path& path) {
  const FrameReader reader;
  const auto header = reader.header(path);
  if (!header) return std::nullopt;
  FrameSource source;
  source.path = path;
  source.file = path.filename().string();
  source.width_px = header->width_px;
  source.height_px = header->height_px;
  FrameInfo info;
  info.camera = assumed_camera(header->width_px, header->height_px);
  FramePixels pixels(reader, source);
  return find(pixels, info, {}).horizon;
}

const std::string kOpenCv = "/usr/share/doc/opencv-doc/examples/";

// npm exif 0.6.0: 24-megapixel city from above at dusk; horizon at 0.2 degrees, read off by eye and fit,
// +-0.3.
TEST(RegistryPictures, CityAtDuskIsAlmostLevel) {
  const std::filesystem::path path = std::string(LOOKDOWN_NODE_MODULES) + "/exif/test/sony-alpha-6000.jpg";
  if (!std::filesystem::exists(path)) FAIL() << path << " is missing; the test command installs it";
  const auto horizon = horizon_of(path);
  ASSERT_TRUE(horizon);
  EXPECT_NEAR(horizon->roll_deg, 0.2, 0.3);
}

// Debian lomiri-wallpapers-16.04: estuary behind the cables of a bridge, -0.8 degrees by eye and fit, +-0.4.
TEST(RegistryPictures, EstuaryBehindBridgeCablesIsFound) {
  const std::filesystem::path path = "/usr/share/backgrounds/Bridge_by_Sander_Klootwijk.jpg";
  if (!std::filesystem::exists(path)) FAIL() << path << " is missing; install lomiri-wallpapers-16.04";
  const auto horizon = horizon_of(path);
  ASSERT_TRUE(horizon);
  EXPECT_NEAR(horizon->roll_deg, -0.8, 0.4);
}

// Debian opencv-doc, hfs/data/001.jpg: a lake whose far shore lies below hills, level within a degree. How
// far the water's edge lies below the horizon is not known.
TEST(RegistryPictures, FarShoreOfALakeBelowHillsIsLevel) {
  const auto horizon = horizon_of(kOpenCv + "hfs/data/001.jpg");
  ASSERT_TRUE(horizon);
  EXPECT_NEAR(horizon->roll_deg, 0, 1);
  EXPECT_EQ(horizon->kind, "land");
  EXPECT_GT(horizon->pitch_sigma_deg, 1);
}

double coarse_horizon_of(const std::filesystem::path& path) {
  const cv::Mat whole = cv::imread(path.string(), cv::IMREAD_COLOR);
  EXPECT_FALSE(whole.empty()) << path;
  cv::Mat reduced;
  const double shrink = std::min(1.0, 600.0 / std::max(whole.cols, whole.rows));
  cv::resize(whole, reduced, {}, shrink, shrink, cv::INTER_AREA);
  return coarse_horizon_log_odds(reduced, assumed_camera(reduced.cols, reduced.rows), 1);
}

// A hazy town with a shore at the top (aero1.jpg) and a front seen from below before a blue sky (home.jpg)
// pass for a horizon at a glance; the search that PicturesWithoutASkyHaveNoHorizon asks is not misled.
TEST(RegistryPictures, AGlanceTellsHorizonsFromOtherPictures) {
  EXPECT_GT(coarse_horizon_of(std::string(LOOKDOWN_NODE_MODULES) + "/exif/test/sony-alpha-6000.jpg"), 0);
  EXPECT_GT(coarse_horizon_of("/usr/share/backgrounds/Bridge_by_Sander_Klootwijk.jpg"), 0);
  EXPECT_GT(coarse_horizon_of(kOpenCv + "hfs/data/001.jpg"), 0);
  for (const char* name : {"graf1.png", "fruits.jpg", "baboon.jpg", "box_in_scene.png", "left01.jpg"})
    EXPECT_LT(coarse_horizon_of(kOpenCv + "data/" + name), 0) << name;
  for (const char* name : {"gravel.png", "grass.png", "brick.png"})
    EXPECT_LT(coarse_horizon_of(std::string("/usr/lib/python3/dist-packages/skimage/data/") + name), 0)
        << name;
}

// Pictures without a horizon: a town from above, textures, objects.
TEST(RegistryPictures, PicturesWithoutASkyHaveNoHorizon) {
  for (const char* name :
       {"aero1.jpg", "graf1.png", "fruits.jpg", "baboon.jpg", "home.jpg", "box_in_scene.png", "left01.jpg"})
    EXPECT_FALSE(horizon_of(kOpenCv + "data/" + name)) << name;
  for (const char* name : {"gravel.png", "grass.png", "brick.png"})
    EXPECT_FALSE(horizon_of(std::string("/usr/lib/python3/dist-packages/skimage/data/") + name)) << name;
}

}  // namespace
}  // namespace lookdown::level
