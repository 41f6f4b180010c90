// The adjustment on made-up networks: known cameras over a known plane, sightings with Gaussian errors.
#include "pipeline/base/angles.h"
#include "stages/place/adjustment/network.h"

#include <gtest/gtest.h>

#include <Eigen/Geometry>
#include <cmath>
#include <numbers>
#include <random>

namespace lookdown::place {
namespace {

struct MadeUp {
  Network network;          ///< as it starts: poses straight down, lens as Exif would state it
  std::vector<Pose> poses;  ///< truth
  Camera camera;            ///< truth
};

Pose swung(const Pose& straight, double about_x_rad, double about_y_rad) {
  Pose p = straight;
  p.world_from_camera = p.world_from_camera * (Eigen::AngleAxisd(about_x_rad, Eigen::Vector3d::UnitX()) *
                                               Eigen::AngleAxisd(about_y_rad, Eigen::Vector3d::UnitY()))
                                                  .toRotationMatrix();
  return p;
}

/// A block of columns x rows cameras, height around 1300 units, points every 90 units; `height_of(x, y)`
/// lifts points off the plane.
template <class HeightOf>
MadeUp block(int columns, int rows, double swing_rad, double noise_px, unsigned seed, HeightOf&& height_of) {
  std::mt19937 random(seed);
  std::uniform_real_distribution<double> unit(-1, 1);
  std::normal_distribution<double> error(0, noise_px);
  MadeUp made;
  made.camera = assumed_camera(1600, 1067);
  made.camera.fx_px = made.camera.fy_px = 1300;
  made.camera.k1 = -0.08;
  made.camera.k2 = 0.02;
  Camera stated = made.camera;
  stated.fx_px = stated.fy_px = 1300 * 1.02;
  stated.k1 = stated.k2 = 0;
  made.network.cameras = {stated};
  made.network.known_cameras = {KnownCamera{stated}};
  for (int r = 0; r < rows; ++r)
    for (int c = 0; c < columns; ++c) {
      const Pose straight = straight_down(
          {c * 600.0 + 60 * unit(random), r * 450.0 + 60 * unit(random), 1300 + 150 * unit(random)},
          std::numbers::pi * unit(random));
      made.poses.push_back(swung(straight, swing_rad * unit(random), swing_rad * unit(random)));
      made.network.poses.push_back(straight);
      made.network.camera_of_frame.push_back(0);
      made.network.known_tilts.push_back({int(made.poses.size()) - 1, {0, 0, 1}, 0.26});
    }
  for (double y = -700; y < rows * 450.0 + 300; y += 90)
    for (double x = -900; x < columns * 600.0 + 300; x += 90) {
      const Eigen::Vector3d world(x + 20 * unit(random), y + 20 * unit(random), height_of(x, y));
      const int index = int(made.network.points.size());
      int seen = 0;
      for (std::size_t f = 0; f < made.poses.size(); ++f) {
        double depth = 0;
        const auto raw = made.camera.distort(project(made.poses[f], made.camera, world, &depth));
        if (depth <= 0 || raw.x < 0 || raw.y < 0 || raw.x > 1599 || raw.y > 1066) continue;
        made.network.sightings.push_back(
            {int(f), index, {raw.x + error(random), raw.y + error(random)}, 0.5});
        ++seen;
      }
      made.network.points.push_back(
          {world + Eigen::Vector3d(30 * unit(random), 30 * unit(random), -world.z())});
      if (seen < 2)
        std::erase_if(made.network.sightings, [&](const Sighting& s) { return s.point == index; });
    }
  return made;
}

double flat(double, double) {
  return 0;
}

void balance(Network& network) {
  AdjustmentOptions options;
  options.held_frame = 0;
  options.loss_px = 40;
  options.free_distortion = options.free_focal = options.free_principal_point = false;
  adjust(network, options);
  options.free_distortion = options.free_focal = options.free_principal_point = true;
  options.loss_px = 4;
  options.iterations = 60;
  adjust(network, options);
}

double worst_tilt_error_deg(const MadeUp& made) {
  double worst = 0;
  for (std::size_t f = 0; f < made.poses.size(); ++f) {
    const Eigen::Vector3d truth = down_in_camera(made.poses[f]),
                          found = down_in_camera(made.network.poses[f]);
    worst = std::max(worst, std::atan2(truth.cross(found).norm(), truth.dot(found)) / kDegree);
  }
  return worst;
}

TEST(PlaneAdjustment, SwingingCamerasAreRecoveredFromAStraightDownStart) {
  MadeUp made = block(4, 3, 0.2, 0.3, 1, flat);
  balance(made.network);
  EXPECT_LT(worst_tilt_error_deg(made), 0.3);
  EXPECT_NEAR(made.network.cameras[0].fx_px / made.camera.fx_px, 1, 0.005);
  EXPECT_NEAR(made.network.cameras[0].k1, made.camera.k1, 0.01);
}

TEST(PlaneAdjustment, ErrorFreeSightingsGiveAnErrorFreeAnswer) {
  MadeUp made = block(3, 3, 0.15, 0, 2, flat);
  made.network.known_tilts.clear();
  for (KnownCamera& c : made.network.known_cameras) {
    c.focal_sigma_share = 10;
    c.k1_sigma = c.k2_sigma = 10;
    c.principal_point_sigma_share = 1;
  }
  balance(made.network);
  EXPECT_LT(worst_tilt_error_deg(made), 0.02);
  EXPECT_NEAR(made.network.cameras[0].fx_px, made.camera.fx_px, 0.5);
}

TEST(PlaneAdjustment, AFewHighRoofsDoNotBendTheGround) {
  // A sixteenth of the area stands 150 units (11 % of the height) off the plane.
  MadeUp made = block(4, 3, 0.15, 0.3, 3, [](double x, double y) {
    return x > 300 && x < 900 && y > 200 && y < 500 ? 150.0 : 0.0;
  });
  balance(made.network);
  EXPECT_LT(worst_tilt_error_deg(made), 0.5);
}

TEST(PlaneAdjustment, TheSameNetworkGivesTheSameAnswerToTheLastBit) {
  MadeUp first = block(3, 2, 0.1, 0.3, 4, flat), second = block(3, 2, 0.1, 0.3, 4, flat);
  balance(first.network);
  balance(second.network);
  for (std::size_t f = 0; f < first.network.poses.size(); ++f) {
    EXPECT_EQ(first.network.poses[f].centre, second.network.poses[f].centre);
    EXPECT_EQ(first.network.poses[f].world_from_camera, second.network.poses[f].world_from_camera);
  }
}

}  // namespace
}  // namespace lookdown::place
