#include "stages/level/search/horizon_line.h"
#include "pipeline/base/angles.h"

#include <gtest/gtest.h>

#include <cmath>
#include <numbers>
#include <opencv2/imgcodecs.hpp>

#include "stages/level/level.h"
#include "stages/level/search/horizon_choice.h"
#include "tests/unit/level/drawn_scene.h"
#include "tests/unit/level/hazy_ridges.h"

namespace lookdown::level {
namespace {

Camera plain_camera(int width_px, int height_px) {
  Camera camera = assumed_camera(width_px, height_px);
  camera.fx_px = camera.fy_px = 0.8 * std::max(width_px, height_px);
  return camera;
}

Attitude found_in(const cv::Mat3b& picture, const Camera& camera, int orientation) {
  const auto guesses = horizon_guesses(picture, camera, orientation);
  EXPECT_FALSE(guesses.empty());
  if (guesses.empty()) return {99, 99};
  EXPECT_GT(guesses.front().log_odds, 0);
  return attitude_from_up(up_from_line(camera, guesses.front().refined.line), orientation);
}

// The scene is drawn from its viewing rays, so its roll and pitch are known exactly.
TEST(HorizonLine, RollAndPitchOfADrawnHorizonAreRecovered) {
  unsigned seed = 1;
  for (const double roll_deg : {0.0, 12.0, -35.0, 58.0})
    for (const double pitch_deg : {-18.0, 0.0, 9.0}) {
      const Camera camera = plain_camera(720, 480);
      const Attitude given{roll_deg * kDegree, pitch_deg * kDegree};
      const Attitude found = found_in(drawn_scene(camera, given, 1, seed++), camera, 1);
      EXPECT_NEAR(found.roll_rad / kDegree, roll_deg, 0.1) << "pitch " << pitch_deg;
      EXPECT_NEAR(found.pitch_rad / kDegree, pitch_deg, 0.1) << "roll " << roll_deg;
    }
}

TEST(HorizonLine, BarrelDistortionBendsTheHorizonButNotTheAnswer) {
  Camera camera = plain_camera(720, 480);
  camera.k1 = -0.18;
  camera.k2 = 0.03;
  const Attitude given{7 * kDegree, -14 * kDegree};
  const Attitude found = found_in(drawn_scene(camera, given, 1, 5), camera, 1);
  EXPECT_NEAR(found.roll_rad / kDegree, 7, 0.1);
  EXPECT_NEAR(found.pitch_rad / kDegree, -14, 0.1);
}

TEST(HorizonLine, PortraitFramesGiveTheRollOfTheFrameAsDisplayed) {
  for (const int orientation : {6, 8, 3}) {
    const Camera camera = plain_camera(720, 480);
    const Attitude given{-6 * kDegree, -10 * kDegree};
    const Attitude found = found_in(drawn_scene(camera, given, orientation, 9), camera, orientation);
    EXPECT_NEAR(found.roll_rad / kDegree, -6, 0.1) << "orientation " << orientation;
    EXPECT_NEAR(found.pitch_rad / kDegree, -10, 0.1) << "orientation " << orientation;
  }
}

// Visibilities of 8 and 40 km leave 9 and 61 % of the far ridge's contrast (Koschmieder's law); the near one
// rises to one side by up to three degrees.
TEST(HorizonLine, TheFarRidgeIsFoundThroughThickAndThinHaze) {
  const Camera camera = plain_camera(720, 480);
  int level = 0, frames = 0;
  for (const double visibility_m : {8000.0, 40000.0})
    for (unsigned seed = 1; seed <= 5; ++seed, ++frames) {
      const Attitude given{(9.0 * seed - 27) * kDegree, -6 * kDegree};
      const cv::Mat3b picture = hazy_ridges(camera, given, visibility_m, seed);
      const auto guesses = horizon_guesses(picture, camera, 1);
      ASSERT_FALSE(guesses.empty());
      const Eigen::Vector3d line = choose_horizon(guesses, picture, camera).refined.line;
      level += std::abs(std::atan2(line.x(), -line.y()) - given.roll_rad) < kDegree;
    }
  EXPECT_GE(level, frames - 1);
}

TEST(HorizonLine, TexturesWithoutSkyHaveNoHorizon) {
  cv::RNG random(3);
  for (int k = 0; k < 6; ++k) {
    cv::Mat3b ground(480, 720);
    random.fill(ground, cv::RNG::UNIFORM, cv::Scalar(0, 20, 10), cv::Scalar(150, 200, 170));
    cv::GaussianBlur(ground, ground, {}, 0.5 + k);
    const auto guesses = horizon_guesses(ground, plain_camera(720, 480), 1);
    EXPECT_TRUE(guesses.empty() || guesses.front().log_odds < 0) << "blur " << 0.5 + k;
  }
}

TEST(HorizonLine, EvenAndTinyPicturesHaveNoHorizon) {
  const auto guesses =
      horizon_guesses(cv::Mat3b(480, 720, cv::Vec3b(90, 120, 100)), plain_camera(720, 480), 1);
  EXPECT_TRUE(guesses.empty() || guesses.front().log_odds < 0);
  EXPECT_TRUE(horizon_guesses(cv::Mat3b(1, 1, cv::Vec3b(0, 0, 0)), plain_camera(1, 1), 1).empty());
}

// A frame read at a reduced size must give the same line as the full frame: pixel centres are kept.
TEST(HorizonLine, FindReportsTheLineInPixelsOfTheFrameAsStored) {
  const Camera camera = plain_camera(2400, 1600);
  const Attitude given{4 * kDegree, -12 * kDegree};
  const auto path = std::filesystem::temp_directory_path() / "lookdown_level_find.png";
  cv::imwrite(path.string(), drawn_scene(camera, given, 1, 21));
  FrameSource source;
  source.path = path;
  source.file = "frame.png";
  source.width_px = 2400;
  source.height_px = 1600;
  FrameInfo info;
  info.camera = camera;
  const FrameReader reader;
  FramePixels pixels(reader, source);
  const Finding finding = find(pixels, info, {});
  std::filesystem::remove(path);
  ASSERT_TRUE(finding.horizon);
  EXPECT_NEAR(finding.horizon->roll_deg, 4, 0.05);
  EXPECT_NEAR(finding.horizon->pitch_deg, -12, 0.05);
  const auto& line = finding.horizon->line;
  EXPECT_NEAR(std::hypot(line[0], line[1]), 1, 1e-12);
  // The horizon below the middle column: f tan(pitch) above the principal point over cos(roll), positive on
  // the sky side.
  const double y = camera.cy_px + camera.fy_px * std::tan(-12 * kDegree) / std::cos(4 * kDegree);
  EXPECT_NEAR(line[0] * camera.cx_px + line[1] * y + line[2], 0, 1.5);
  EXPECT_GT(line[0] * camera.cx_px + line[1] * (y - 100) + line[2], 0);
  ASSERT_EQ(finding.tilts.size(), 1U);
  EXPECT_NEAR(finding.tilts.front().off_nadir_deg, 78, 0.1);
}

}  // namespace
}  // namespace lookdown::level
