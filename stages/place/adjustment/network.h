// The network of a flight that least squares balances: cameras, poses, points on and off the ground plane z =
// 0, and what was seen or is known beforehand of each.
#pragma once

#include <Eigen/Core>
#include <optional>
#include <string>
#include <vector>

#include "pipeline/geometry/camera.h"
#include "pipeline/geometry/pose.h"

namespace lookdown::place {

/// A point seen in a frame, pixels of the frame as stored with the distortion still in.
struct Sighting {
  int frame = 0;  ///< index into Network::poses
  int point = 0;  ///< index into Network::points
  Point2<StoredPx> at;
  double sigma_px = 1;
};

/// How a point relates to the plane z = 0.
enum class Footing {
  on_plane,     ///< height held at 0
  near_plane,   ///< height free, pulled to 0 (Network::relief_sigma)
  free_height,  ///< stands off the plane: height free
  given         ///< position known beforehand (control), held to it by `given_sigma`
};

struct NetworkPoint {
  Eigen::Vector3d position = Eigen::Vector3d::Zero();
  Footing footing = Footing::on_plane;
  Eigen::Vector3d given = Eigen::Vector3d::Zero();
  Eigen::Vector3d given_sigma = Eigen::Vector3d::Ones();
};

/// Straight down as known beforehand (camera axes).
struct KnownTilt {
  int frame = 0;
  Eigen::Vector3d down_in_camera{0, 0, 1};
  double sigma_rad = 1;
};

/// Camera centre as known beforehand (world units).
struct KnownCentre {
  int frame = 0;
  Eigen::Vector3d centre = Eigen::Vector3d::Zero();
  Eigen::Vector3d sigma = Eigen::Vector3d::Ones();
};

/// What is known of a camera before the adjustment; the value of `camera` is the starting point.
struct KnownCamera {
  Camera prior;
  double focal_sigma_share = 0.05;
  double principal_point_sigma_share = 0.01;  ///< of the long side
  double k1_sigma = 0.1;
  double k2_sigma = 0.05;
};

/// Radians (15 degrees): how far a hanging camera tends to be off nadir.
inline constexpr double kSwingSigma = 0.26;

struct Network {
  std::vector<Camera> cameras;
  std::vector<KnownCamera> known_cameras;  ///< one a camera
  std::vector<int> camera_of_frame;
  std::vector<Pose> poses;
  std::vector<NetworkPoint> points;
  std::vector<Sighting> sightings;
  std::vector<KnownTilt> known_tilts;
  std::vector<KnownCentre> known_centres;
  double relief_sigma = 1;  ///< world units: how far ground that counts as plane may lie off it

  const Camera& camera_of(std::size_t frame) const { return cameras[std::size_t(camera_of_frame[frame])]; }
};

/// p' = scale * turn p + shift.
struct SpaceSimilarity {
  double scale = 1;
  Eigen::Matrix3d turn = Eigen::Matrix3d::Identity();
  Eigen::Vector3d shift = Eigen::Vector3d::Zero();
};

/// Moves poses and points; what is known of centres beforehand stays.
void apply(const SpaceSimilarity&, Network&);

struct AdjustmentOptions {
  double loss_px = 2;  ///< in units of a sighting's sigma: beyond it a sighting loses weight (Cauchy)
  int iterations = 30;
  bool free_focal = true;
  bool free_principal_point = true;
  bool free_distortion = true;
  std::optional<int> held_frame;  ///< its centre is held: fixes shift and scale when nothing else does
};

struct AdjustmentSummary {
  double rmse_px = 0;  ///< of all sightings, robustly weighted sightings included
  double final_cost = 0;
  int iterations = 0;
  bool usable = false;
};

/// Balances the network in place: Levenberg-Marquardt with the points eliminated first (Triggs et al., Bundle
/// Adjustment - A Modern Synthesis, 2000, sec. 6). One thread, so that the sums are taken in one order and
/// the result is the same on any machine.
AdjustmentSummary adjust(Network&, const AdjustmentOptions&);

/// Distance between a sighting and the projection of its point, pixels of the frame as stored; infinite
/// behind the camera.
[[nodiscard]] double residual_px(const Network&, const Sighting&);
/// Root mean square of all finite residuals; 0 when there are none.
[[nodiscard]] double rmse_px(const Network&);

}  // namespace lookdown::place
