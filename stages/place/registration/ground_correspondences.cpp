#include "stages/place/registration/ground_correspondences.h"

#include <Eigen/Geometry>
#include <algorithm>
#include <cmath>
#include <opencv2/calib3d.hpp>

namespace lookdown::place {
namespace {

constexpr double kResectionTolerance = 8;  ///< pixels of the searched copy

/// Camera axes with straight down along `down` (camera axes), any heading, `height` above the ground.
Pose looking(const Eigen::Vector3d& down, double height) {
  Pose pose;
  // Rows of camera-from-world transposed: world z is -down; world x is any direction across it.
  const Eigen::Vector3d up = -down;
  const Eigen::Vector3d across =
      (std::abs(up.x()) < 0.9 ? Eigen::Vector3d::UnitX() : Eigen::Vector3d::UnitY()).eval();
  const Eigen::Vector3d east = (across - across.dot(up) * up).normalized();
  const Eigen::Vector3d north = up.cross(east);
  pose.world_from_camera.row(0) = east;
  pose.world_from_camera.row(1) = north;
  pose.world_from_camera.row(2) = up;
  pose.centre = {0, 0, height};
  return pose;
}

/// Directions of straight down in camera a that the homography allows; at most four, those that look down at
/// all.
std::vector<Eigen::Vector3d> plane_directions(const Eigen::Matrix3d& b_from_a, const Camera& a,
                                              const Camera& b) {
  // The decomposition takes one camera matrix: both sides are brought to rays first.
  const Eigen::Matrix3d rays = b.matrix().inverse() * b_from_a * a.matrix();
  cv::Mat h(3, 3, CV_64F);
  for (int r = 0; r < 3; ++r)
    for (int c = 0; c < 3; ++c) h.at<double>(r, c) = rays(r, c);
  std::vector<cv::Mat> turns, shifts, normals;
  cv::decomposeHomographyMat(h, cv::Mat::eye(3, 3, CV_64F), turns, shifts, normals);
  std::vector<Eigen::Vector3d> downs;
  for (const cv::Mat& n : normals) {
    Eigen::Vector3d down(n.at<double>(0), n.at<double>(1), n.at<double>(2));
    if (!(down.norm() > 0.5)) continue;
    down.normalize();
    if (down.z() < 0) down = -down;  // the ground lies in front of the camera
    const bool known =
        std::any_of(downs.begin(), downs.end(), [&](const auto& d) { return d.dot(down) > 0.9998; });
    if (down.z() > 0.1 && !known) downs.push_back(down);
  }
  return downs;
}

/// Frames without a pose get one from those that have, most matches first.
void resect_outward(const std::vector<TieFrame>& frames, const std::vector<Tie>& ties, Group& group,
                    std::vector<bool>& known) {
  while (true) {
    int best_place = -1;
    std::size_t most = 0;
    std::vector<GroundSight> best;
    for (int i = 0; i < int(known.size()); ++i) {
      if (known[std::size_t(i)]) continue;
      std::vector<GroundSight> sights = ground_from_neighbours(frames, ties, group, i, known);
      if (sights.size() <= most) continue;
      most = sights.size();
      best_place = i;
      best = std::move(sights);
    }
    if (best_place < 0) return;
    const double tolerance =
        kResectionTolerance /
        double(frames[std::size_t(group.members[std::size_t(best_place)])].features.work_scale);
    const auto found = resect(best, group.network.camera_of(std::size_t(best_place)), tolerance);
    if (!found) return;
    group.network.poses[std::size_t(best_place)] = found->pose;
    known[std::size_t(best_place)] = true;
  }
}

}  // namespace

std::optional<Eigen::Vector3d> on_plane(const Network& network, const Sighting& s) {
  const Camera& camera = network.camera_of(std::size_t(s.frame));
  const Pose& pose = network.poses[std::size_t(s.frame)];
  const Eigen::Vector3d ray = pose.world_from_camera * camera.ray(camera.undistort(s.at));
  if (ray.z() > -0.05) return std::nullopt;
  return pose.centre - ray * (pose.centre.z() / ray.z());
}

std::vector<GroundSight> ground_from_neighbours(const std::vector<TieFrame>& frames,
                                                const std::vector<Tie>& ties, const Group& group, int place,
                                                const std::vector<bool>& trusted) {
  std::vector<GroundSight> sights;
  const int member = group.members[std::size_t(place)];
  const TieFrame& own = frames[std::size_t(member)];
  const Camera& camera = group.network.camera_of(std::size_t(place));
  for (const Tie& t : ties) {
    if (t.a != member && t.b != member) continue;
    const int other = place_of(group, t.a == member ? t.b : t.a);
    if (other < 0 || !trusted[std::size_t(other)]) continue;
    const TieFrame& neighbour = frames[std::size_t(group.members[std::size_t(other)])];
    for (const Match& m : t.matches) {
      const Feature& mine = own.features.spots[std::size_t(t.a == member ? m.a : m.b)];
      const Feature& theirs = neighbour.features.spots[std::size_t(t.a == member ? m.b : m.a)];
      if (const auto p = on_plane(group.network, {other, 0, {theirs.x_px, theirs.y_px}, 1}))
        sights.push_back({{p->x(), p->y()}, camera.undistort({mine.x_px, mine.y_px})});
    }
  }
  return sights;
}

std::vector<std::vector<Pose>> oblique_starts(const std::vector<TieFrame>& frames,
                                              const std::vector<Tie>& ties, const Group& group) {
  const Tie* best = nullptr;
  for (const Tie& t : ties)
    if (place_of(group, t.a) >= 0 && place_of(group, t.b) >= 0 &&
        (best == nullptr || t.matches.size() > best->matches.size()))
      best = &t;
  std::vector<std::vector<Pose>> starts;
  if (best == nullptr) return starts;
  const int seed = place_of(group, best->a);
  const Camera& camera = group.network.camera_of(std::size_t(seed));
  for (const Eigen::Vector3d& down : plane_directions(
           best->b_from_a.matrix, camera, group.network.camera_of(std::size_t(place_of(group, best->b))))) {
    Group trial;
    trial.members = group.members;
    trial.network.cameras = group.network.cameras;
    trial.network.camera_of_frame = group.network.camera_of_frame;
    trial.network.poses = group.network.poses;
    trial.network.poses[std::size_t(seed)] = looking(down, camera.fx_px);
    std::vector<bool> known(group.members.size(), false);
    known[std::size_t(seed)] = true;
    resect_outward(frames, ties, trial, known);
    if (std::count(known.begin(), known.end(), true) > 1) starts.push_back(trial.network.poses);
  }
  return starts;
}

}  // namespace lookdown::place
