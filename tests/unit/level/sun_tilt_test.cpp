#include "stages/level/sun_tilt.h"
#include "pipeline/base/angles.h"

#include <gtest/gtest.h>

#include <Eigen/Geometry>
#include <cmath>
#include <fstream>
#include <numbers>

#include "pipeline/geometry/pose.h"

namespace lookdown::level {
namespace {

Camera camera_3000() {
  Camera camera = assumed_camera(6001, 4001);
  camera.fx_px = camera.fy_px = 3000;
  camera.cx_px = 3000;
  camera.cy_px = 2000;
  return camera;
}

// Flat water, camera straight down: the mirror point lies f tan(90 - elevation) from the nadir point toward
// the sun, the shadow as far on the other side; derived: f = 3000 px, elevation 60 -> 1732.05 px, 70 ->
// 1091.91 px.
TEST(SunTilt, StraightDownHasTheNadirMidwayBetweenMirrorPointAndShadow) {
  for (const auto& [elevation_deg, apart_px] : {std::pair{60.0, 1732.05}, {70.0, 1091.91}}) {
    SunMarks marks;
    marks.mirror_point = {3000, 2000 - apart_px};
    marks.shadow = {3000, 2000 + apart_px};
    const auto tilt = tilt_from_sun(marks, camera_3000(), Sun{elevation_deg, 0});
    ASSERT_TRUE(tilt);
    EXPECT_NEAR(tilt->off_nadir_deg, 0, 1e-5);
    EXPECT_EQ(tilt->from, "sun");
    EXPECT_NEAR(sun_elevation_deg(camera_3000().ray({3000, 2000 - apart_px}),
                                  camera_3000().ray({3000, 2000 + apart_px})),
                elevation_deg, 1e-3);
  }
}

struct Seen {
  Camera camera = camera_3000();
  Pose pose = straight_down({0, 0, 30}, 0.4);
  SunMarks marks;
};

/// A camera that hangs askew over water under a sun, with the marks where a mirror (angle of incidence =
/// angle of reflection) and a straight ray put them.
Seen askew(double tilt_deg, double axis_rad, double elevation_deg, double azimuth_rad) {
  Seen seen;
  seen.camera.k1 = -0.08;
  seen.pose.world_from_camera =
      Eigen::AngleAxisd(tilt_deg * kDegree, Eigen::Vector3d(std::cos(axis_rad), std::sin(axis_rad), 0)) *
      seen.pose.world_from_camera;
  const double e = elevation_deg * kDegree;
  const Eigen::Vector3d to_sun(std::sin(azimuth_rad) * std::cos(e), std::cos(azimuth_rad) * std::cos(e),
                               std::sin(e));
  const Eigen::Vector3d normal(0, 0, 1);
  const Eigen::Vector3d mirrored = to_sun - 2 * to_sun.dot(normal) * normal;
  const auto marked = [&](const Eigen::Vector3d& direction) {
    return seen.camera.distort(project(seen.pose, seen.camera, seen.pose.centre + 10 * direction));
  };
  seen.marks.mirror_point = marked(mirrored);
  seen.marks.shadow = marked(-to_sun);
  return seen;
}

TEST(SunTilt, FindsTheVerticalOfACameraThatHangsAskew) {
  for (const double elevation_deg : {58.0, 72.0})
    for (int k = 0; k < 6; ++k) {
      const Seen seen = askew(3.0 * k, 1.1 * k, elevation_deg, 0.7 * k);
      const auto tilt = tilt_from_sun(seen.marks, seen.camera, Sun{elevation_deg, 0});
      ASSERT_TRUE(tilt);
      EXPECT_NEAR(tilt->off_nadir_deg, off_nadir_deg(seen.pose), 1e-4);
      const Eigen::Vector3d down = down_in_camera(seen.pose);
      for (int c = 0; c < 3; ++c) EXPECT_NEAR(tilt->down_in_camera[c], down[c], 1e-6);
    }
}

// Half a degree a mark: the direction is off by no more than the stated uncertainty allows, three deviations
// at most.
TEST(SunTilt, StatesHowFarMarksThatAreOffMoveIt) {
  const Seen seen = askew(9, 0.3, 65, 2);
  const double half_degree_px = 3000 * 0.5 * kDegree;
  for (const auto& [dx, dy] : {std::pair{1, 0}, {-1, 0}, {0, 1}, {0, -1}}) {
    SunMarks marks = seen.marks;
    marks.mirror_point->x += dx * half_degree_px;
    marks.mirror_point->y += dy * half_degree_px;
    const auto tilt = tilt_from_sun(marks, seen.camera, std::nullopt);
    ASSERT_TRUE(tilt);
    const Eigen::Vector3d found(tilt->down_in_camera[0], tilt->down_in_camera[1], tilt->down_in_camera[2]);
    const double off_deg = std::acos(std::min(1.0, found.dot(down_in_camera(seen.pose)))) / kDegree;
    EXPECT_GT(off_deg, 0.1);
    EXPECT_LT(off_deg, 3 * tilt->sigma_deg);
  }
}

TEST(SunTilt, SaysNothingWhereTheSunStandsElsewhereOrAMarkIsMissing) {
  Seen seen = askew(5, 0, 65, 1);
  EXPECT_TRUE(tilt_from_sun(seen.marks, seen.camera, Sun{65, 0}));
  EXPECT_FALSE(tilt_from_sun(seen.marks, seen.camera, Sun{60, 0}));
  seen.marks.shadow.reset();
  EXPECT_FALSE(tilt_from_sun(seen.marks, seen.camera, std::nullopt));
  const Eigen::Vector3d level(1, 0, 0.1), opposite(-1, 0, 0.1);  // a sun 5.7 degrees high
  EXPECT_FALSE(down_from_sun(level.normalized(), opposite.normalized()));
}

TEST(SunTilt, BecomesASourceOfItsFrameAndWarnsAboutMarksOfOthers) {
  const Seen seen = askew(6, 1, 62, 3);
  FlightRecord record;
  record.frames.resize(2);
  for (FrameRecord& frame : record.frames) frame.info.camera = seen.camera;
  record.frames[0].source.file = "a.jpg";
  record.frames[1].source.file = "b.jpg";
  add_tilts_from_sun(record, {{"a.jpg", seen.marks}, {"c.jpg", seen.marks}});
  ASSERT_TRUE(record.frames[0].tilt);
  EXPECT_EQ(record.frames[0].tilt->from, "sun");
  EXPECT_FALSE(record.frames[1].tilt);
  ASSERT_EQ(record.warnings.size(), 1U);
  EXPECT_NE(record.warnings[0].find("c.jpg"), std::string::npos);
}

TEST(SunMarks, TableIsReadAndItsMistakesAreNamed) {
  const auto file = std::filesystem::path(testing::TempDir()) / "sun_marks_test.csv";
  const auto read = [&](const std::string& rows) {
    std::ofstream(file) << "file,what,x_px,y_px\n" << rows;
    return read_sun_marks(file);
  };
  const auto marks = read("a.jpg,mirror,10,20.5\na.jpg,shadow,700,30\nb.jpg,mirror,1,2\n");
  ASSERT_EQ(marks.size(), 2U);
  EXPECT_DOUBLE_EQ(marks.at("a.jpg").mirror_point->y, 20.5);
  EXPECT_DOUBLE_EQ(marks.at("a.jpg").shadow->x, 700);
  EXPECT_FALSE(marks.at("b.jpg").shadow);
  EXPECT_THROW((void)read("a.jpg,sun,1,2\n"), std::runtime_error);
  EXPECT_THROW((void)read("a.jpg,mirror,1,2\na.jpg,mirror,3,4\n"), std::runtime_error);
  EXPECT_THROW((void)read("a.jpg,mirror,one,2\n"), std::runtime_error);
  std::filesystem::remove(file);
}

}  // namespace
}  // namespace lookdown::level
