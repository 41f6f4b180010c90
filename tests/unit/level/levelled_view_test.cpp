#include "stages/level/copies/levelled_view.h"
#include "pipeline/base/angles.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <numbers>

#include "pipeline/geometry/pose.h"
#include "stages/level/horizon_geometry.h"

namespace lookdown::level {
namespace {

// A rectangle of the frame's own shape in a w x h frame turned by r: both of its sides must fit, so its scale
// is min(w / (w cos r + h sin r), h / (w sin r + h cos r)); derived.
TEST(LevelledView, LargestCleanRectangleHasTheDerivedSize) {
  for (const double roll_deg : {0.0, 1.0, 5.0, 20.0}) {
    const Camera camera = assumed_camera(1200, 800);
    const double r = roll_deg * kDegree, w = 1199, h = 799, aspect = w / h;
    const auto found = largest_clean_rectangle(turned_view(camera, r, 1), aspect);
    ASSERT_TRUE(found);
    const double scale =
        std::min(w / (w * std::cos(r) + h * std::sin(r)), h / (w * std::sin(r) + h * std::cos(r)));
    EXPECT_NEAR(found->width(), w * scale, 2.5) << roll_deg;
    EXPECT_NEAR(found->height(), h * scale, 2.5) << roll_deg;
  }
}

TEST(LevelledView, TheCleanRectangleShowsOnlyTheFrameUnderDistortion) {
  Camera camera = assumed_camera(1200, 800);
  camera.k1 = -0.15;
  const LevelledView view = turned_view(camera, 8 * kDegree, 1);
  const auto r = largest_clean_rectangle(view, 1.5);
  ASSERT_TRUE(r);
  for (double t = 0; t <= 1; t += 0.01) {
    EXPECT_TRUE(view.source_of(r->x_min + t * r->width(), r->y_min));
    EXPECT_TRUE(view.source_of(r->x_max, r->y_min + t * r->height()));
  }
}

// Turning back a horizon that falls to the right: two points of one view row must lie on a line with that
// slope in the frame.
TEST(LevelledView, ViewRowsRunAlongTheHorizon) {
  const LevelledView view = turned_view(assumed_camera(1200, 800), 10 * kDegree, 1);
  const auto left = view.source_of(-200, 0), right = view.source_of(200, 0);
  ASSERT_TRUE(left && right);
  EXPECT_NEAR(std::atan2(right->y - left->y, right->x - left->x) / kDegree, 10, 1e-9);
}

TEST(LevelledView, PortraitFramesAreShownUpright) {
  // Orientation 6: displayed right is stored up... the displayed x axis is the stored y axis turned back.
  const LevelledView view = turned_view(assumed_camera(1200, 800), 0, 6);
  const auto top = view.source_of(0, -500), middle = view.source_of(0, 0);
  ASSERT_TRUE(top && middle);
  EXPECT_LT(top->x, middle->x);
  EXPECT_NEAR(top->y, middle->y, 1e-9);
  const auto right = view.source_of(300, 0);
  ASSERT_TRUE(right);
  EXPECT_LT(right->y, middle->y);
}

// The upright view of a nadir frame looks straight down: the nadir point, f tan t from the principal point,
// comes to the origin.
TEST(LevelledView, UprightViewOfATiltedFrameIsCentredOnTheNadirPoint) {
  Camera camera = assumed_camera(4001, 3001);
  camera.fx_px = camera.fy_px = 3000;
  const double tilt = 10 * kDegree;
  const Eigen::Vector3d down(0, std::sin(tilt), std::cos(tilt));
  const auto nadir = upright_view(camera, down, 1).source_of(0, 0);
  ASSERT_TRUE(nadir);
  EXPECT_NEAR(nadir->x, 2000, 1e-6);
  EXPECT_NEAR(nadir->y - 1500, 528.981, 0.001);  // f tan t, derived
}

// In an upright view toward the horizon verticals stay vertical and the horizon lies at y = 0.
TEST(LevelledView, UprightViewPutsTheHorizonOnARow) {
  Camera camera = assumed_camera(1200, 800);
  const Eigen::Vector3d up = up_from_attitude({12 * kDegree, -15 * kDegree}, 1);
  const LevelledView view = upright_view(camera, -up, 1);
  const Eigen::Vector3d line = horizon_line(camera, up);
  for (const double x : {-300.0, 0.0, 250.0}) {
    const Eigen::Vector3d p = view.frame_from_view * Eigen::Vector3d(x, 0, 1);
    EXPECT_NEAR(line.dot(p) / p.z() / line.head<2>().norm(), 0, 1e-6);
  }
}

}  // namespace
}  // namespace lookdown::level
