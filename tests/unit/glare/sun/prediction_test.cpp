#include <gtest/gtest.h>

#include <cmath>
#include <numbers>
#include <opencv2/core.hpp>

#include "stages/glare/glare.h"

namespace lookdown::glare {
namespace {

Camera camera_of_12_megapixels() {
  Camera camera;
  camera.width_px = 4000;
  camera.height_px = 3000;
  camera.fx_px = camera.fy_px = 3000;
  camera.cx_px = 1999.5;
  camera.cy_px = 1499.5;
  return camera;
}

// Camera straight down, frame top to the north: the mirror point stands f tan(90 - elevation) from the nadir
// point, toward the sun (derived); a sun in the east is to the right.
TEST(MirrorPointOfFrame, LiesTowardTheSun) {
  const Camera camera = camera_of_12_megapixels();
  const Pose pose = straight_down({0, 0, 30});
  const auto east = mirror_point(pose, camera, {70, 90});
  ASSERT_TRUE(east);
  EXPECT_NEAR(east->x - camera.cx_px, 1091.91, 0.01);
  EXPECT_NEAR(east->y - camera.cy_px, 0, 1e-6);
  const auto north = mirror_point(pose, camera, {60, 0});
  ASSERT_TRUE(north);
  EXPECT_NEAR(north->y - camera.cy_px, -1732.05, 0.01);
}

TEST(MirrorPointOfFrame, TurnsWithTheCamera) {
  const Camera camera = camera_of_12_megapixels();
  // Frame top to the east: the eastern sun is mirrored toward the top.
  const auto point = mirror_point(straight_down({5, 5, 30}, std::numbers::pi / 2), camera, {70, 90});
  ASSERT_TRUE(point);
  EXPECT_NEAR(point->x - camera.cx_px, 0, 1e-6);
  EXPECT_NEAR(point->y - camera.cy_px, -1091.91, 0.01);
}

TEST(MirrorPointOfFrame, IsUnknownAtNight) {
  EXPECT_FALSE(mirror_point(straight_down({0, 0, 30}), camera_of_12_megapixels(), {-5, 90}));
}

TEST(Prediction, PeaksAtTheMirrorPointAndWidensWithTheWaves) {
  const Camera camera = camera_of_12_megapixels();
  const Pose pose = straight_down({0, 0, 30});
  const SunPosition sun{75, 90};
  const Prediction calm = predict(pose, camera, sun, 0.003, 1.333, 80, 60),
                   rough = predict(pose, camera, sun, 0.03, 1.333, 80, 60);
  cv::Point peak;
  cv::minMaxLoc(*calm.glint, nullptr, nullptr, nullptr, &peak);
  const auto mirror = mirror_point(pose, camera, sun);
  EXPECT_NEAR((peak.x + 0.5) * 50, mirror->x, 50);
  EXPECT_NEAR((peak.y + 0.5) * 50, mirror->y, 50);
  EXPECT_GT(cv::sum(*rough.glint)[0], 3 * cv::sum(*calm.glint)[0]);
  // Fresnel at nadir, n = 1.333 (derived).
  EXPECT_NEAR(calm.sky->at<float>(30, 40), 0.02037, 2e-4);
}

FrameInfo frame_at_noon() {
  FrameInfo frame;
  frame.taken_at_s = 1718452800;  // 2024-06-15 12:00 on the camera's clock
  frame.position = GeoPosition{45, 10, {}, {}, 5};
  return frame;
}

TEST(SunOfFrame, IsNotGuessedWithoutTheOffsetOfTheClock) {
  FrameInfo frame = frame_at_noon();
  EXPECT_FALSE(sun_of_frame(frame, {}));
  frame.utc_offset_h = 2;
  EXPECT_TRUE(sun_of_frame(frame, {}));
  frame.position.reset();
  EXPECT_FALSE(sun_of_frame(frame, {}));
}

TEST(SunOfFrame, OptionsWinOverTheFile) {
  FrameInfo frame = frame_at_noon();
  frame.utc_offset_h = 0;
  Options options;
  options.utc_offset_h = 2;
  options.clock_offset_s = 600;
  const double utc_s = *frame.taken_at_s + 600 - 7200;
  EXPECT_DOUBLE_EQ(sun_of_frame(frame, options)->elevation_deg, sun_position(45, 10, utc_s).elevation_deg);
}

TEST(WaveSlope, FollowsTheWindWhenItIsKnown) {
  Options options;
  EXPECT_LE(wave_slope(options), 0.021);
  options.wind_m_s = 8;
  EXPECT_DOUBLE_EQ(wave_slope(options), mean_square_slope(8));
}

}  // namespace
}  // namespace lookdown::glare
