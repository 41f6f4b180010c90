#include <gtest/gtest.h>
#include <unistd.h>

#include <cmath>
#include <filesystem>
#include <fstream>

#include "pipeline/base/angles.h"
#include "pipeline/geometry/pose.h"
#include "stages/rectify/rectify.h"

namespace lookdown::rectify {
namespace {

std::filesystem::path table(const std::string& text) {
  const auto path = std::filesystem::temp_directory_path() /
                    ("lookdown_ground_signs_" + std::to_string(::getpid()) + ".csv");
  std::ofstream(path) << text;
  return path;
}

Camera plain_camera() {
  Camera camera = assumed_camera(1600, 1200);
  camera.fx_px = camera.fy_px = 1300;
  return camera;
}

/// 30 m up, tilted 50 degrees from straight down, looking north.
Pose oblique_pose() {
  const double tilt = 50 * kDegree;
  Pose pose;
  pose.world_from_camera << 1, 0, 0, 0, -std::cos(tilt), std::sin(tilt), 0, -std::sin(tilt), -std::cos(tilt);
  pose.centre = Eigen::Vector3d(0, 0, 30);
  return pose;
}

Point2<StoredPx> seen(double x, double y) {
  const Eigen::Vector3d p =
      oblique_pose().world_from_camera.transpose() * (Eigen::Vector3d(x, y, 0) - oblique_pose().centre);
  const Camera camera = plain_camera();
  return {camera.fx_px * p.x() / p.z() + camera.cx_px, camera.fy_px * p.y() / p.z() + camera.cy_px};
}

TEST(GroundSigns, ATableIsReadByFrameAndKind) {
  const auto all = read_ground_signs(
      table("file,sign,x_px,y_px,x_m,y_m\na.jpg,corner,1,2,12.5,8\na.jpg,corner,3,4,,\nb.jpg,mark,5,6,7,8\n"
            "a.jpg,corner,5,6,,\na.jpg,corner,7,8,,\nc.jpg,along,1,1,,\nc.jpg,across,2,2,,\n"));
  ASSERT_EQ(all.size(), 3U);
  EXPECT_EQ(all[0].corners.size(), 4U);
  EXPECT_EQ(all[0].width_m, 12.5);
  EXPECT_EQ(all[0].length_m, 8);
  EXPECT_EQ(all[1].positions.front().y, 8);
  EXPECT_EQ(all[2].ends_along.size(), 1U);
}

TEST(GroundSigns, AnUnknownSignIsRefusedByLine) {
  try {
    (void)read_ground_signs(table("file,sign,x_px,y_px,x_m,y_m\na.jpg,edge,1,2,3,4\n"));
    FAIL();
  } catch (const std::runtime_error& error) {
    EXPECT_NE(std::string(error.what()).find("line 2"), std::string::npos) << error.what();
  }
}

// Each way must lay the same 6 m by 4 m level rectangle out with its true sides; positions come from the
// pinhole model.
TEST(GroundSigns, MarksRectangleAndParallelsAgreeOnTheGround) {
  GroundSigns marks, rectangle, parallels;
  const double x0 = -2, y0 = 30, width = 6, length = 4;
  for (const auto& [x, y] : {std::pair{0., 0.}, {width, 0.}, {width, length}, {0., length}}) {
    marks.marks.push_back(seen(x0 + x, y0 + y));
    marks.positions.push_back({x0 + x, y0 + y});
    rectangle.corners.push_back(seen(x0 + x, y0 + y));
  }
  rectangle.width_m = width;
  rectangle.length_m = length;
  for (const double y : {0., length})
    for (const double x : {0., width}) parallels.ends_along.push_back(seen(x0 + x, y0 + y));
  for (const double x : {0., width})
    for (const double y : {0., length}) parallels.ends_across.push_back(seen(x0 + x, y0 + y));
  Options options;
  options.height_m = 30;
  for (const GroundSigns& signs : {marks, rectangle, parallels}) {
    const auto view = view_from_signs(plain_camera(), signs, options);
    ASSERT_TRUE(view) << view.error().message();
    const auto at = [&](double x, double y) {
      const auto p = seen(x, y);
      return view->ground_from_frame * Point2<UndistortedPx>{p.x, p.y};
    };
    const auto a = at(x0 + 1, y0 + 1), b = at(x0 + 4, y0 + 1), c = at(x0 + 1, y0 + 3);
    EXPECT_NEAR(std::hypot(b.x - a.x, b.y - a.y), 3, 1e-6);
    EXPECT_NEAR(std::hypot(c.x - a.x, c.y - a.y), 2, 1e-6);
  }
}

TEST(GroundSigns, MixedOrMissingSignsAreAFault) {
  GroundSigns mixed;
  mixed.marks.push_back({1, 1});
  mixed.positions.push_back({0, 0});
  mixed.corners.push_back({2, 2});
  EXPECT_FALSE(view_from_signs(plain_camera(), mixed, {}));
  GroundSigns three;
  three.corners = {{0, 0}, {10, 0}, {10, 10}};
  EXPECT_FALSE(view_from_signs(plain_camera(), three, {}));
  GroundSigns odd;
  odd.ends_along = {{0, 0}, {10, 0}, {10, 10}};
  EXPECT_FALSE(view_from_signs(plain_camera(), odd, {}));
}

}  // namespace
}  // namespace lookdown::rectify
