// What a frame sees of ground that is not flat: a tower of 60 on a plain, cameras at 300.
#include <gtest/gtest.h>

#include "pipeline/record/flight_record.h"
#include "stages/mosaic/canvas.h"
#include "stages/mosaic/geometry/frame_view.h"
#include "stages/mosaic/geometry/warp.h"

namespace lookdown::mosaic {
namespace {

constexpr int kSide = 200, kStep = 2;

class SurfaceView : public testing::Test {
 protected:
  SurfaceView() {
    flight_.placement.relief_spread = 1;  // adjusted in space: a unit is a pixel, y upwards from the top edge
    flight_.placement.mosaic_width_px = flight_.placement.mosaic_height_px = kSide;
    canvas_.width_px = canvas_.height_px = kSide;
    tower_.columns = tower_.rows = kSide / kStep;
    tower_.step_px = kStep;
    tower_.heights.assign(std::size_t(tower_.columns) * std::size_t(tower_.rows), 0);
    tower_.confidence.assign(tower_.heights.size(), 3);
    tower_.highest = 60;
    for (int row = 40; row < 60; ++row)
      for (int column = 50; column < 60; ++column)
        tower_.heights[std::size_t(row * tower_.columns + column)] = 60;
  }
  void add_camera(double x) {
    FrameRecord frame;
    frame.decision.verdict = Verdict::keep;
    frame.placement.placed = true;
    frame.placement.group = 0;
    frame.placement.camera = assumed_camera(600, 600);
    frame.placement.pose = straight_down({x, -100, 300});
    frame.placement.mosaic_from_frame.matrix =
        Eigen::Vector3d(1, -1, 1).asDiagonal() *
        ground_from_frame(frame.placement.pose, frame.placement.camera).matrix;
    flight_.frames.push_back(frame);
  }
  [[nodiscard]] std::vector<FrameView> views() const {
    return frame_views(flight_, canvas_, std::nullopt, false, &tower_);
  }
  FlightRecord flight_;
  Canvas canvas_;
  surface::HeightGrid tower_;
};

// The ray over the far edge of the roof (x = 120, 60 high) from (20, 300) meets the ground at 20 + 100 * 300
// / 240 = 145; from (190, 300) over the other edge (x = 100) at 190 - 90 * 300 / 240 = 77.5.
TEST_F(SurfaceView, ATowerHidesTheGroundBehindIt) {
  add_camera(20);
  add_camera(190);
  const auto seen = views();
  ASSERT_EQ(seen.size(), 2U);
  const auto sees = [&](std::size_t view, double x) { return seen[view].sight(x, 100).usable; };
  EXPECT_TRUE(sees(0, 60) && sees(0, 90) && sees(0, 110) && sees(0, 150));
  EXPECT_FALSE(sees(0, 126) || sees(0, 140));
  EXPECT_TRUE(sees(1, 140) && sees(1, 126) && sees(1, 110) && sees(1, 70));
  EXPECT_FALSE(sees(1, 94) || sees(1, 82));
}

TEST_F(SurfaceView, WhatEveryFrameHasHiddenIsShownAllTheSame) {
  add_camera(20);
  const auto seen = views();
  ASSERT_EQ(seen.size(), 1U);
  EXPECT_TRUE(seen[0].sight(126, 100).usable);
}

TEST_F(SurfaceView, TheRoofIsLookedUpWhereTheCameraSeesIt) {
  add_camera(20);
  const auto seen = views();
  const FramePlacement& placed = flight_.frames[0].placement;
  // Centre of mosaic pixel (x, y): x + 0.5 to the right of the corner, y + 0.5 below it.
  for (const auto& [x, height] : {std::pair(110.0, 60.0), std::pair(60.0, 0.0)}) {
    const auto expected = project(placed.pose, placed.camera, {x + 0.5, -100.5, height});
    EXPECT_NEAR(seen[0].position(x, 100).x, expected.x, 1e-6);
    EXPECT_NEAR(seen[0].position(x, 100).y, expected.y, 1e-6);
  }
  // The map that pixels are rendered by, over cells that the tower's edge makes uneven.
  const cv::Rect area(90, 90, 64, 40);
  const cv::Mat map = position_map(seen[0], area);
  for (int row = 0; row < area.height; row += 3)
    for (int column = 0; column < area.width; ++column) {
      const cv::Point2d exact = seen[0].position(area.x + column, area.y + row);
      EXPECT_NEAR(map.at<cv::Vec2f>(row, column)[0], exact.x, 0.1) << column << " " << row;
    }
}

}  // namespace
}  // namespace lookdown::mosaic
