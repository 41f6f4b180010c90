#include <gtest/gtest.h>

#include <cmath>
#include <opencv2/calib3d.hpp>
#include <opencv2/core.hpp>

#include "pipeline/base/angles.h"
#include "stages/report/overlay_shapes.h"
#include "stages/report/words/flight_figures.h"

namespace lookdown::report {
namespace {

FrameRecord frame_3000(double k1 = 0) {
  FrameRecord frame;
  frame.source.width_px = 4000;
  frame.source.height_px = 3000;
  Camera& camera = frame.info.camera;
  camera.width_px = 4000;
  camera.height_px = 3000;
  camera.fx_px = camera.fy_px = 3000;
  camera.cx_px = 2000;
  camera.cy_px = 1500;
  camera.k1 = k1;
  return frame;
}

/// y of a drawn line at a share x of the width, between the two points beside it.
double height_at(const Outline& line, double x) {
  for (std::size_t i = 1; i < line.size(); ++i) {
    const auto& a = line[i - 1];
    const auto& b = line[i];
    if ((a.x - x) * (b.x - x) <= 0 && a.x != b.x) return a.y + (b.y - a.y) * (x - a.x) / (b.x - a.x);
  }
  ADD_FAILURE() << "the line does not reach " << x;
  return NAN;
}

// Horizon of a camera of 3000 px focal length that looks 10 degrees down and rolls by -3 degrees: y at x = 0,
// 2000, 4000 is 1075.1087, 970.2931, 865.4776 (derived: up = (sin r cos d, -cos r cos d, -sin d), line = K^-T
// up).
TEST(HorizonShape, PassesThroughTheDerivedPoints) {
  FrameRecord frame = frame_3000();
  const double down = 10 * kDegree, roll = -3 * kDegree;
  const Eigen::Vector3d up(std::sin(roll) * std::cos(down), -std::cos(roll) * std::cos(down),
                           -std::sin(down));
  Eigen::Vector3d line = horizon_line(frame.info.camera, up);
  line /= line.head<2>().norm();
  frame.horizon = Horizon{};
  frame.horizon->line = {line.x(), line.y(), line.z()};
  const auto shape = horizon_shape(frame);
  ASSERT_TRUE(shape);
  EXPECT_NEAR(1075.1087, height_at(shape->line, 0.5 / 4000) * 3000 - 0.5, 0.01);
  EXPECT_NEAR(970.2931, height_at(shape->line, 2000.5 / 4000) * 3000 - 0.5, 0.01);
  EXPECT_LT(shape->sky.y, height_at(shape->line, shape->sky.x));
}

TEST(HorizonShape, BendsAsTheLensDoes) {
  FrameRecord frame = frame_3000(-0.08);
  frame.horizon = Horizon{};
  frame.horizon->line = {0, -1, 300};  // y = 300, sky above
  const auto shape = horizon_shape(frame);
  ASSERT_TRUE(shape);
  // OpenCV's projection is the reference for the distortion.
  const double x = 3400;
  std::vector<cv::Point2d> seen;
  const cv::Matx33d matrix(3000, 0, 2000, 0, 3000, 1500, 0, 0, 1);
  cv::projectPoints(std::vector<cv::Point3d>{{(x - 2000) / 3000, (300 - 1500) / 3000.0, 1}}, cv::Vec3d(),
                    cv::Vec3d(), matrix, cv::Vec4d(-0.08, 0, 0, 0), seen);
  // 1 px is the chord of the curve between two drawn points.
  EXPECT_NEAR(seen[0].y, height_at(shape->line, (seen[0].x + 0.5) / 4000) * 3000 - 0.5, 1.0);
  EXPECT_GT(seen[0].y, 303);
}

FrameRecord placed_straight_down(double x_m, double y_m, double height_m, double heading_rad, double k1 = 0) {
  FrameRecord frame = frame_3000(k1);
  frame.placement.placed = true;
  frame.placement.group = 0;
  frame.placement.camera = frame.info.camera;
  frame.placement.pose = straight_down({x_m, y_m, height_m}, heading_rad);
  Homography<MosaicPx, Ground> mosaic_from_ground;  // 0.01 m a pixel, ground (0, 100) in the corner
  mosaic_from_ground.matrix << 100, 0, 0, 0, -100, 10000, 0, 0, 1;
  frame.placement.mosaic_from_frame =
      mosaic_from_ground * ground_from_frame(frame.placement.pose, frame.placement.camera);
  return frame;
}

// A camera 30 m up with f = 3000 px sees 4000 px as 40 m (H w / f).
TEST(Footprint, IsAsLargeAsHeightAndFocalLengthSay) {
  const auto outline = footprint(placed_straight_down(50, 50, 30, 0.3));
  ASSERT_EQ(4U, outline.size());
  EXPECT_NEAR(4000, std::hypot(outline[1].x - outline[0].x, outline[1].y - outline[0].y), 1e-6);
  EXPECT_NEAR(3000, std::hypot(outline[2].x - outline[1].x, outline[2].y - outline[1].y), 1e-6);
}

TEST(Footprint, OfAFrameThatSeesTheHorizonIsEmpty) {
  FrameRecord frame = placed_straight_down(50, 50, 30, 0);
  const double lean = 80 * kDegree;
  Eigen::Matrix3d turn;
  turn << 1, 0, 0, 0, std::cos(lean), -std::sin(lean), 0, std::sin(lean), std::cos(lean);
  frame.placement.pose.world_from_camera = frame.placement.pose.world_from_camera * turn;
  frame.placement.mosaic_from_frame.matrix =
      ground_from_frame(frame.placement.pose, frame.placement.camera).matrix;
  EXPECT_TRUE(footprint(frame).empty());
}

TEST(OutlineInFrame, OfTheFrameItselfIsItsBorder) {
  const FrameRecord frame = placed_straight_down(50, 50, 30, 0.7, -0.05);
  for (const DisplayedShare& p : outline_in_frame(frame, footprint(frame))) {
    const double to_side = std::min({std::abs(p.x), std::abs(1 - p.x), std::abs(p.y), std::abs(1 - p.y)});
    EXPECT_NEAR(0, to_side, 1e-6);
  }
}

TEST(MosaicPosition, OfAGroundPointFollowsThePlacement) {
  FlightRecord record;
  record.frames.push_back(placed_straight_down(20, 70, 25, 1.2));
  const auto p = mosaic_position(record, 12, 34);
  ASSERT_TRUE(p);
  EXPECT_NEAR(1200, p->x, 1e-6);
  EXPECT_NEAR(6600, p->y, 1e-6);
}

// f = 3000, tilt 10 degrees: the nadir point lies f tan t = 528.981 px from the principal point (derived).
TEST(PlumbPoint, LiesAsFarFromTheMiddleAsTheTiltSays) {
  FrameRecord frame = frame_3000();
  const double tilt = 10 * kDegree;
  frame.tilt = Tilt{{0, std::sin(tilt), std::cos(tilt)}, 10, 0.1, "placement"};
  const auto spot = plumb_point(frame);
  ASSERT_TRUE(spot);
  EXPECT_NEAR(1500 + 528.981, spot->y * 3000 - 0.5, 0.001);
  EXPECT_NEAR(2000, spot->x * 4000 - 0.5, 1e-9);
}

// Flat water, camera straight down: the mirror point lies f tan(90 deg - elevation) from the nadir point
// toward the sun's azimuth; f = 3000 px, elevation 70 deg: 1091.91 px (derived).
TEST(SunMirrorPoint, LiesTowardTheSunAsFarAsItsElevationSays) {
  FlightRecord record;
  record.placement.north_from = "control";
  FrameRecord frame = placed_straight_down(50, 50, 30, 0);  // top of the frame points north
  frame.sun = Sun{70, 90};
  const auto east = sun_mirror_point(record, frame);
  ASSERT_TRUE(east);
  EXPECT_NEAR(2000 + 1091.91, east->x * 4000 - 0.5, 0.01);
  EXPECT_NEAR(1500, east->y * 3000 - 0.5, 1e-6);
  record.placement.north_from = "arbitrary";
  EXPECT_FALSE(sun_mirror_point(record, frame));
}

TEST(TileShape, TilesOfATurnedFrameAreWhereTheyAreSeen) {
  FrameRecord frame = frame_3000();
  frame.source.orientation = 6;  // row 0 of the stored frame is on the right when displayed
  frame.sharpness = Sharpness{};
  frame.sharpness->tile_columns = 3;
  frame.sharpness->tile_rows = 2;
  for (int row = 0; row < 2; ++row)
    for (int column = 0; column < 3; ++column)
      frame.sharpness->tiles.push_back({column, row, 10.0 * row + column, 1});
  const TileShape shape = tile_shape(frame);
  ASSERT_EQ(2, shape.columns);
  ASSERT_EQ(3, shape.rows);
  const std::vector<std::optional<double>> expected{10, 0, 11, 1, 12, 2};
  EXPECT_EQ(expected, shape.blur_fwhm_px);
}

}  // namespace
}  // namespace lookdown::report
