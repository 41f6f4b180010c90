#include "stages/place/planes/roof_dominated_images.h"

#include <algorithm>
#include <map>
#include <opencv2/calib3d.hpp>
#include <set>
#include <utility>

#include "stages/place/planes/off_plane_points.h"

namespace lookdown::place {
namespace {

constexpr int kFewestGroundSights = 20;
constexpr std::size_t kFewestAgreeing = 15;
constexpr double kTolerance = 3;  ///< pixels of the searched copy
constexpr double kMostTiltDeg = 60;
constexpr double kMostMissOfKnown = 2.5;  ///< of a sight from the common point, pixels of the searched copy

using SpotPlace = std::pair<float, float>;
using Spot = std::pair<int, SpotPlace>;  ///< place in the group, position as stored

Spot spot_of(const std::vector<TieFrame>& frames, int place, const Sight& s) {
  const Feature& f = frames[std::size_t(s.frame)].features.spots[std::size_t(s.spot)];
  return {place, {f.x_px, f.y_px}};
}

Spot spot_of(const Sighting& s) {
  return {s.frame, {float(s.at.x), float(s.at.y)}};
}

/// Where spots of held frames lie, ground and roofs.
std::map<Spot, Eigen::Vector3d> known_spots(const std::vector<TieFrame>& frames,
                                            const std::vector<TiePoint>& raised, const Group& group,
                                            const std::vector<bool>& held) {
  std::map<Spot, Eigen::Vector3d> known;
  for (const Sighting& s : group.network.sightings)
    if (held[std::size_t(s.frame)]) known[spot_of(s)] = group.network.points[std::size_t(s.point)].position;
  for (const TiePoint& p : raised)
    if (const auto point = meet(frames, group, p, kMostMissOfKnown))
      for (const Sight& s : point->sights)
        known[spot_of(frames, place_of(group, s.frame), s)] = point->position;
  return known;
}

/// Pose from points in space (cv::solvePnPRansac with the minimal solver of Gao et al., PAMI 25:930, 2003).
std::optional<Pose> resected(const std::vector<cv::Point3d>& points, const std::vector<cv::Point2d>& seen,
                             const TieFrame& frame) {
  if (points.size() < kFewestAgreeing) return std::nullopt;
  const Eigen::Matrix3d k = frame.camera.matrix();
  const cv::Matx33d matrix(k(0, 0), 0, k(0, 2), 0, k(1, 1), k(1, 2), 0, 0, 1);
  cv::Mat turn, shift, agreeing;
  cv::setRNGSeed(1);
  if (!cv::solvePnPRansac(points, seen, matrix, cv::noArray(), turn, shift, false, 500,
                          float(kTolerance / double(frame.features.work_scale)), 0.9999, agreeing,
                          cv::SOLVEPNP_P3P))
    return std::nullopt;
  if (std::size_t(agreeing.rows) < std::max(kFewestAgreeing, points.size() / 3)) return std::nullopt;
  cv::Mat rotation;
  cv::Rodrigues(turn, rotation);
  Eigen::Matrix3d camera_from_world;
  for (int r = 0; r < 3; ++r)
    for (int c = 0; c < 3; ++c) camera_from_world(r, c) = rotation.at<double>(r, c);
  Pose pose;
  pose.world_from_camera = camera_from_world.transpose();
  pose.centre = -pose.world_from_camera *
                Eigen::Vector3d(shift.at<double>(0), shift.at<double>(1), shift.at<double>(2));
  if (!(pose.centre.z() > 0) || off_nadir_deg(pose) > kMostTiltDeg) return std::nullopt;
  return pose;
}

}  // namespace

std::vector<bool> held_by_ground(const Group& group) {
  std::vector<int> sights(group.members.size(), 0);
  for (const Sighting& s : group.network.sightings)
    sights[std::size_t(s.frame)] += group.network.points[std::size_t(s.point)].footing == Footing::on_plane;
  std::vector<bool> held;
  held.reserve(sights.size());
  for (const int count : sights) held.push_back(count >= kFewestGroundSights);
  return held;
}

void drop_raised_ground(const std::vector<TieFrame>& frames, const std::vector<TiePoint>& raised,
                        Group& group) {
  std::map<Spot, std::size_t> views;
  for (const TiePoint& p : raised)
    for (const Sight& s : p.sights) views[spot_of(frames, place_of(group, s.frame), s)] = p.sights.size();
  std::vector<std::size_t> on_ground(group.network.points.size(), 0), off_ground = on_ground;
  for (const Sighting& s : group.network.sightings) {
    ++on_ground[std::size_t(s.point)];
    const auto raised_spot = views.find(spot_of(s));
    if (raised_spot != views.end())
      off_ground[std::size_t(s.point)] = std::max(off_ground[std::size_t(s.point)], raised_spot->second);
  }
  std::erase_if(group.network.sightings, [&](const Sighting& s) {
    const std::size_t seen_raised = off_ground[std::size_t(s.point)];
    return seen_raised >= 3 && seen_raised >= on_ground[std::size_t(s.point)];
  });
}

int resect_over_roofs(const std::vector<TieFrame>& frames, const std::vector<Tie>& ties,
                      const std::vector<TiePoint>& raised, Group& group, std::vector<bool>& held) {
  if (std::find(held.begin(), held.end(), false) == held.end() || raised.empty()) return 0;
  const auto known = known_spots(frames, raised, group, held);
  std::map<int, std::map<int, Eigen::Vector3d>> seen_of;  // place -> own spot -> where it lies
  for (const Tie& t : ties) {
    const int a = place_of(group, t.a), b = place_of(group, t.b);
    if (a < 0 || b < 0 || held[std::size_t(a)] == held[std::size_t(b)]) continue;
    const bool own_is_a = !held[std::size_t(a)];
    for (const Match& m : t.matches) {
      const Sight other{own_is_a ? t.b : t.a, own_is_a ? m.b : m.a};
      const auto at = known.find(spot_of(frames, own_is_a ? b : a, other));
      if (at != known.end()) seen_of[own_is_a ? a : b][own_is_a ? m.a : m.b] = at->second;
    }
  }
  int changed = 0;
  for (const auto& [place, seen] : seen_of) {
    const TieFrame& frame = frames[std::size_t(group.members[std::size_t(place)])];
    std::vector<cv::Point3d> points;
    std::vector<cv::Point2d> pixels;
    for (const auto& [spot, at] : seen) {
      points.emplace_back(at.x(), at.y(), at.z());
      pixels.emplace_back(frame.undistorted[std::size_t(spot)].x, frame.undistorted[std::size_t(spot)].y);
    }
    const auto pose = resected(points, pixels, frame);
    if (!pose) continue;
    group.network.poses[std::size_t(place)] = *pose;
    held[std::size_t(place)] = true;
    ++changed;
  }
  return changed;
}

}  // namespace lookdown::place
