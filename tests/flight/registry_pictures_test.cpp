// Real pictures that Debian and npm packages carry, through the whole program.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <fstream>
#include <nlohmann/json.hpp>
#include <opencv2/core.hpp>
#include <opencv2/imgcodecs.hpp>

#include "program_run.h"

namespace lookdown {
namespace {

namespace fs = std::filesystem;
using nlohmann::json;

const fs::path kOpenCvPictures = "/usr/share/doc/opencv-doc/examples/data";

class RegistryPictures : public ::testing::Test {
 protected:
  json run(const std::vector<fs::path>& pictures) {
    std::vector<std::string> arguments{"run"};
    for (const fs::path& picture : pictures) {
      EXPECT_TRUE(fs::exists(picture)) << picture << " is missing; tests/run_all installs it";
      arguments.push_back(picture.string());
    }
    arguments.insert(arguments.end(), {"-o", out().string()});
    const ProgramRun run = run_lookdown(arguments);
    EXPECT_EQ(run.exit_code, 0) << run.errors;
    return json::parse(std::ifstream(out() / "placement.json"));
  }
  [[nodiscard]] fs::path out() const { return folder_.path() / "out"; }
  TemporaryFolder folder_;
};

cv::Matx33d matrix(const json& frame) {
  cv::Matx33d m;
  for (int i = 0; i < 9; ++i) m.val[i] = frame["frame_to_mosaic"][static_cast<std::size_t>(i)];
  return m;
}

// aero1.jpg and aero3.jpg of Debian's opencv-doc: overlapping high obliques of a town.
TEST_F(RegistryPictures, AerialPairIsJoinedIntoOneMosaic) {
  const json placement = run({kOpenCvPictures / "aero1.jpg", kOpenCvPictures / "aero3.jpg"});
  ASSERT_EQ(placement["frames"].size(), 2U);
  EXPECT_EQ(placement["frames"][0]["group"], placement["frames"][1]["group"]);
  EXPECT_TRUE(fs::exists(out() / "mosaic.tif"));
}

// graf1.png, graf3.png and the true homography H1to3p.xml of Debian's opencv-doc (Mikolajczyk & Schmid's
// planar pictures).
TEST_F(RegistryPictures, PaintedWallIsPlacedAsItsTrueHomographySays) {
  const json placement = run({kOpenCvPictures / "graf1.png", kOpenCvPictures / "graf3.png"});
  ASSERT_EQ(placement["frames"].size(), 2U);
  cv::Mat truth;
  cv::FileStorage((kOpenCvPictures / "H1to3p.xml").string(), cv::FileStorage::READ)["H13"] >> truth;
  ASSERT_EQ(truth.rows, 3);
  const cv::Matx33d third_from_first = matrix(placement["frames"][1]).inv() * matrix(placement["frames"][0]);
  // Inside the part that both see: the lens model is free, so the far corners of the first picture are no
  // fair place to look.
  for (const cv::Vec3d& point :
       {cv::Vec3d(300, 200, 1), cv::Vec3d(500, 200, 1), cv::Vec3d(300, 450, 1), cv::Vec3d(500, 450, 1)}) {
    const cv::Vec3d ours = third_from_first * point, expected = cv::Matx33d(truth) * point;
    EXPECT_NEAR(ours[0] / ours[2], expected[0] / expected[2], 3.0);
    EXPECT_NEAR(ours[1] / ours[2], expected[1] / expected[2], 3.0);
  }
}

// npm's exif 0.6.0, 24 megapixels: a city from above, horizon at about 0.2 degrees (measured by eye and fit).
TEST_F(RegistryPictures, TwentyFourMegapixelObliqueShowsItsHorizon) {
  run({fs::path(LOOKDOWN_NODE_MODULES) / "exif/test/sony-alpha-6000.jpg"});
  const auto table = read_frames_table(out() / "frames.csv");
  const auto& row = table.at("sony-alpha-6000.jpg");
  EXPECT_EQ(row.at("view"), "horizon");
  EXPECT_NEAR(std::stod(row.at("roll_deg")), 0.2, 0.3);
  // 33 mm equivalent on 36 mm for 6000 pixels.
  EXPECT_NEAR(std::stod(row.at("focal_px")), 5617, 120);
}

// The same picture: 22 mm on a sensor 23.5 mm wide (maker's data sheet, from memory) for 6000 pixels is 5617
// px; one row, no fault, whatever the horizon search makes of it.
TEST_F(RegistryPictures, TwentyFourMegapixelObliqueIsRunWhole) {
  run({fs::path(LOOKDOWN_NODE_MODULES) / "exif/test/sony-alpha-6000.jpg"});
  const auto table = read_frames_table(out() / "frames.csv");
  const auto& row = table.at("sony-alpha-6000.jpg");
  EXPECT_EQ(row.at("width_px"), "6000");
  EXPECT_EQ(row.at("verdict"), "keep");
  EXPECT_NEAR(std::stod(row.at("focal_px")), 5617, 120);
}

}  // namespace
}  // namespace lookdown
