#include "stages/level/horizon_geometry.h"
#include "pipeline/base/angles.h"

#include <gtest/gtest.h>

#include <cmath>
#include <numbers>

#include "pipeline/geometry/pose.h"
#include "stages/level/copies/display_turn.h"

namespace lookdown::level {
namespace {

constexpr double kArcMinute = kDegree / 60;

Camera camera_3000() {
  Camera camera = assumed_camera(4001, 3001);
  camera.fx_px = camera.fy_px = 3000;
  camera.cx_px = 2000;
  camera.cy_px = 1500;
  return camera;
}

double y_at(const Eigen::Vector3d& line, double x) {
  return -(line.x() * x + line.z()) / line.y();
}

// Bowditch, American Practical Navigator: 0.97' sqrt(h/ft) with refraction = 1.76' sqrt(h/m); h = 30 m
// gives 9.640'.
TEST(HorizonGeometry, DipOfTheSeaHorizonFollowsBowditch) {
  EXPECT_NEAR(dip_of_sea_horizon_rad(30) / kArcMinute, 9.640, 0.0005);
  EXPECT_EQ(dip_of_sea_horizon_rad(-1), 0);
}

// acos(R / (R + h)) with R = 6371 km: 10.549' for 30 m, 1.926' for 1 m.
TEST(HorizonGeometry, GeometricDipFollowsFromTheRadiusOfTheEarth) {
  EXPECT_NEAR(geometric_dip_rad(30) / kArcMinute, 10.549, 0.001);
  EXPECT_NEAR(geometric_dip_rad(1) / kArcMinute, 1.926, 0.001);
}

// f = 3000, principal point (2000, 1500): y of the horizon at x = 0, 2000, 4000; derived from
// up = (sin r cos d, -cos r cos d, -sin d), line = K^-T up.
TEST(HorizonGeometry, HorizonLineHasTheDerivedPlaces) {
  struct Case {
    double depression_deg, roll_deg, y[3];
  };
  for (const Case& c :
       {Case{30, 0, {-232.0508, -232.0508, -232.0508}}, Case{30, 5, {-413.6443, -238.6670, -63.6896}},
        Case{10, -3, {1075.1087, 970.2931, 865.4776}}}) {
    const Eigen::Vector3d up = up_from_attitude({c.roll_deg * kDegree, -c.depression_deg * kDegree}, 1);
    const Eigen::Vector3d line = horizon_line(camera_3000(), up);
    for (int i = 0; i < 3; ++i) EXPECT_NEAR(y_at(line, 2000.0 * i), c.y[i], 5e-5);
    const Attitude back = attitude_from_up(up_from_line(camera_3000(), line), 1);
    EXPECT_NEAR(back.roll_rad / kDegree, c.roll_deg, 1e-9);
    EXPECT_NEAR(back.pitch_rad / kDegree, -c.depression_deg, 1e-9);
  }
}

// f = 3000, tilt t from straight down: the horizon lies f cot t from the principal point (derived): 17013.85
// and 5196.15 px.
TEST(HorizonGeometry, HorizonOfATiltedFrameLiesAtTheCotangent) {
  for (const auto& [tilt_deg, distance_px] : {std::pair{10.0, 17013.85}, std::pair{30.0, 5196.15}}) {
    const Eigen::Vector3d line =
        horizon_line(camera_3000(), up_from_attitude({0, (tilt_deg - 90) * kDegree}, 1));
    const double distance = std::abs(line.x() * 2000 + line.y() * 1500 + line.z()) / line.head<2>().norm();
    EXPECT_NEAR(distance, distance_px, 0.005);
  }
}

// Exif orientation 6: the stored frame is turned a quarter clockwise for display (CIPA DC-008), so its left
// side is the top.
TEST(HorizonGeometry, PortraitFramesGiveRollAsDisplayed) {
  const Eigen::Vector3d up_left(-1, 0, 0);
  EXPECT_NEAR(attitude_from_up(up_left, 6).roll_rad, 0, 1e-12);
  EXPECT_NEAR(attitude_from_up(-up_left, 8).roll_rad, 0, 1e-12);
  EXPECT_NEAR(attitude_from_up(Eigen::Vector3d(0, 1, 0), 3).roll_rad, 0, 1e-12);
}

TEST(HorizonGeometry, AttitudeSurvivesThereAndBackForEveryOrientation) {
  for (int orientation = 1; orientation <= 8; ++orientation) {
    const Attitude given{0.3, -0.2};
    const Attitude back = attitude_from_up(up_from_attitude(given, orientation), orientation);
    EXPECT_NEAR(back.roll_rad, given.roll_rad, 1e-12);
    EXPECT_NEAR(back.pitch_rad, given.pitch_rad, 1e-12);
    EXPECT_EQ(swaps_sides(orientation), display_from_stored(orientation)(0, 0) == 0);
  }
}

}  // namespace
}  // namespace lookdown::level
