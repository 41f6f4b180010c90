#include "stages/place/planes/off_plane_points.h"

#include <tbb/parallel_for.h>

#include <Eigen/Geometry>
#include <Eigen/LU>
#include <algorithm>
#include <cmath>

#include "pipeline/base/scheduler.h"
#include "stages/place/pairs/pair_geometry.h"
#include "stages/place/registration/guided_matching.h"

namespace lookdown::place {
namespace {

constexpr double kOffLine = 2.5;      ///< from the epipolar line, pixels of the searched copy
constexpr double kLeastParallax = 5;  ///< from where the ground would show, pixels of the searched copy
constexpr double kMostMiss = 2.5;     ///< of a sight from the common point, pixels of the searched copy
constexpr double kLeastBase = 0.06, kMostBase = 1.5;  ///< of the mean height
constexpr double kRatio = 0.85;
/// For ties in space frames that hardly moved count too: they tell no heights but hold turns.
constexpr double kLeastBaseOfTies = 0.02;
constexpr std::size_t kPairsOfTies = 10;
constexpr std::size_t kPairsOfFrame = 8;
constexpr int kSightsOfFrame = 160;
constexpr double kSureness = 3;  ///< standard deviations

const Pose& pose_of(const Group& group, int member) {
  return group.network.poses[std::size_t(place_of(group, member))];
}

/// Unit vector from the camera through a spot, world axes.
Eigen::Vector3d ray_of(const std::vector<TieFrame>& frames, const Group& group, const Sight& s) {
  const TieFrame& frame = frames[std::size_t(s.frame)];
  return (pose_of(group, s.frame).world_from_camera *
          frame.camera.ray(frame.undistorted[std::size_t(s.spot)]))
      .normalized();
}

/// Where frame b shows what frame a sees at heights between two bounds: a stretch of the epipolar line.
Stretch stretch_of(const Pose& a, const Eigen::Vector3d& ray, const Pose& b, const Camera& camera_b,
                   double lowest, double highest) {
  Stretch stretch;
  if (ray.z() > -0.2) return stretch;
  const auto at = [&](double height, double& depth) {
    return project(b, camera_b, a.centre + ray * ((height - a.centre.z()) / ray.z()), &depth);
  };
  double depth[3];
  const auto low = at(lowest, depth[0]), ground = at(0, depth[1]), high = at(highest, depth[2]);
  if (std::min({depth[0], depth[1], depth[2]}) <= 0) return stretch;
  stretch.from = {float(low.x), float(low.y)};
  stretch.to = {float(high.x), float(high.y)};
  stretch.middle = {float(ground.x), float(ground.y)};
  stretch.used = true;
  return stretch;
}

// Where each feature of `a` can lie in `b` between the heights of `range`; empty for those of `left_out` and
// those that do not see the ground that `b` sees.
std::vector<Stretch> stretches_of(const TieFrame& a, const Pose& pose_a, const TieFrame& b,
                                  const Pose& pose_b, const HeightRange& range,
                                  const std::vector<char>& left_out) {
  const double lower = std::min(pose_a.centre.z(), pose_b.centre.z());
  const std::vector<Expectation> expected =
      expect(a, b, by_way_of_ground(pose_a, a.camera, pose_b, b.camera));
  std::vector<Stretch> stretches(a.features.size());
  for (std::size_t i = 0; i < stretches.size(); ++i) {
    if (left_out[i] || !expected[i].inside) continue;
    const Eigen::Vector3d ray = pose_a.world_from_camera * a.camera.ray(a.undistorted[i]);
    stretches[i] = stretch_of(pose_a, ray, pose_b, b.camera, range.lowest * lower, range.highest * lower);
    stretches[i].turn_rad = expected[i].turn_rad;
    stretches[i].log_scale = expected[i].log_scale;
  }
  return stretches;
}

/// Matches of a tie's frames off the plane.
Tie match_off_plane(const std::vector<TieFrame>& frames, const Group& group, const Tie& tie) {
  const TieFrame &a = frames[std::size_t(tie.a)], &b = frames[std::size_t(tie.b)];
  const Pose &pose_a = pose_of(group, tie.a), &pose_b = pose_of(group, tie.b);
  const double least = kLeastParallax / double(b.features.work_scale);
  std::vector<char> tied_a(a.features.size(), 0), tied_b(b.features.size(), 0);
  const auto b_from_a =
      Homography<UndistortedPx, UndistortedPx>{by_way_of_ground(pose_a, a.camera, pose_b, b.camera)};
  for (const Match& m : tie.matches) {
    const auto on_ground = b_from_a * a.undistorted[std::size_t(m.a)];
    const auto& seen = b.undistorted[std::size_t(m.b)];
    if (std::hypot(on_ground.x - seen.x, on_ground.y - seen.y) < least)
      tied_a[std::size_t(m.a)] = tied_b[std::size_t(m.b)] = 1;
  }
  const std::vector<Stretch> stretches = stretches_of(a, pose_a, b, pose_b, HeightRange{}, tied_a);
  std::vector<std::array<float, 2>> positions;
  for (const auto& p : b.undistorted) positions.push_back({float(p.x), float(p.y)});
  Tie off{tie.a, tie.b, {}, {}};
  for (const Match& m : match_along(a.features, b.features, positions, stretches, tied_b,
                                    kOffLine / double(b.features.work_scale), kRatio)) {
    const auto& ground = stretches[std::size_t(m.a)].middle;
    const auto& seen = positions[std::size_t(m.b)];
    if (std::hypot(seen[0] - ground[0], seen[1] - ground[1]) > least) off.matches.push_back(m);
  }
  return off;
}

/// Matches of a tie's frames at any height of the range.
Tie match_along_rays(const std::vector<TieFrame>& frames, const Group& group, const Tie& tie,
                     const HeightRange& range, double width) {
  const TieFrame &a = frames[std::size_t(tie.a)], &b = frames[std::size_t(tie.b)];
  const Pose &pose_a = pose_of(group, tie.a), &pose_b = pose_of(group, tie.b);
  const std::vector<char> none(a.features.size(), 0);
  const std::vector<Stretch> stretches = stretches_of(a, pose_a, b, pose_b, range, none);
  std::vector<std::array<float, 2>> positions;
  for (const auto& p : b.undistorted) positions.push_back({float(p.x), float(p.y)});
  return {tie.a, tie.b, tie.b_from_a,
          match_along(a.features, b.features, positions, stretches, std::vector<char>(b.features.size(), 0),
                      width / double(b.features.work_scale), kRatio)};
}

/// Ties whose base tells heights, the strongest of every frame.
std::vector<const Tie*> telling_ties(const std::vector<TieFrame>& frames, const Group& group,
                                     const std::vector<bool>& held, double least_base,
                                     std::size_t pairs_of_frame) {
  std::vector<const Tie*> order;
  for (const Tie& t : group.ties) {
    const int a = place_of(group, t.a), b = place_of(group, t.b);
    if (a < 0 || b < 0 || !held[std::size_t(a)] || !held[std::size_t(b)] ||
        frames[std::size_t(t.a)].bridge_only || frames[std::size_t(t.b)].bridge_only)
      continue;
    const Eigen::Vector3d &at_a = group.network.poses[std::size_t(a)].centre,
                          &at_b = group.network.poses[std::size_t(b)].centre;
    const double base = (at_a - at_b).head<2>().norm() / (0.5 * (at_a.z() + at_b.z()));
    if (at_a.z() > 0 && at_b.z() > 0 && base > least_base && base < kMostBase) order.push_back(&t);
  }
  std::stable_sort(order.begin(), order.end(),
                   [](const Tie* p, const Tie* q) { return p->matches.size() > q->matches.size(); });
  std::vector<std::size_t> taken(frames.size(), 0);
  std::vector<const Tie*> chosen;
  for (const Tie* t : order) {
    std::size_t &of_a = taken[std::size_t(t->a)], &of_b = taken[std::size_t(t->b)];
    if (of_a >= pairs_of_frame && of_b >= pairs_of_frame) continue;
    ++of_a, ++of_b;
    chosen.push_back(t);
  }
  return chosen;
}

}  // namespace

std::vector<TiePoint> raised_tie_points(const std::vector<TieFrame>& frames, const Group& group,
                                        const std::vector<bool>& held) {
  const std::vector<const Tie*> pairs = telling_ties(frames, group, held, kLeastBase, kPairsOfFrame);
  std::vector<Tie> off(pairs.size());
  tbb::parallel_for(std::size_t(0), pairs.size(), [&](std::size_t i) {
    if (!stop_requested()) off[i] = match_off_plane(frames, group, *pairs[i]);
  });
  stop_if_requested();
  std::vector<TiePoint> raised;
  for (TiePoint& p : chain_matches(frames, off))
    if (const auto point = intersect(frames, group, p)) raised.push_back({point->sights});
  return raised;
}

std::vector<Tie> epipolar_ties(const std::vector<TieFrame>& frames, const Group& group,
                               const std::vector<bool>& held, const HeightRange& range, double width) {
  const std::vector<const Tie*> pairs = telling_ties(frames, group, held, kLeastBaseOfTies, kPairsOfTies);
  std::vector<Tie> found(pairs.size());
  tbb::parallel_for(std::size_t(0), pairs.size(), [&](std::size_t i) {
    if (!stop_requested()) found[i] = match_along_rays(frames, group, *pairs[i], range, width);
  });
  stop_if_requested();
  return found;
}

std::optional<RaisedPoint> intersect(const std::vector<TieFrame>& frames, const Group& group,
                                     const TiePoint& tie_point) {
  auto point = meet(frames, group, tie_point, kMostMiss);
  if (point && !(std::abs(point->position.z()) > kSureness * point->height_sigma)) point.reset();
  return point;
}

Eigen::Vector3d on_mean_plane(const std::vector<TieFrame>& frames, const Group& group, const Sight& s) {
  const Eigen::Vector3d ray = ray_of(frames, group, s), centre = pose_of(group, s.frame).centre;
  return centre - ray * (centre.z() / std::min(-0.05, ray.z()));
}

std::optional<RaisedPoint> meet(const std::vector<TieFrame>& frames, const Group& group,
                                const TiePoint& tie_point, double tolerance) {
  RaisedPoint point;
  point.sights = tie_point.sights;
  while (point.sights.size() >= 2) {
    Eigen::Matrix3d sum = Eigen::Matrix3d::Zero();
    Eigen::Vector3d towards = Eigen::Vector3d::Zero();
    for (const Sight& s : point.sights) {
      const TieFrame& frame = frames[std::size_t(s.frame)];
      const Eigen::Vector3d ray = ray_of(frames, group, s), centre = pose_of(group, s.frame).centre;
      const double spread = kSpotSigma / double(frame.features.work_scale) / frame.camera.fx_px *
                            std::abs(centre.z() / ray.z());
      const Eigen::Matrix3d across =
          (Eigen::Matrix3d::Identity() - ray * ray.transpose()) / (spread * spread);
      sum += across;
      towards += across * centre;
    }
    const Eigen::Matrix3d spread = sum.inverse();
    point.position = spread * towards;
    point.height_sigma = std::sqrt(spread(2, 2));
    std::size_t worst = 0;
    double most = 0;
    for (std::size_t i = 0; i < point.sights.size(); ++i) {
      const TieFrame& frame = frames[std::size_t(point.sights[i].frame)];
      double depth = 0;
      const auto shown = project(pose_of(group, point.sights[i].frame), frame.camera, point.position, &depth);
      const auto& seen = frame.undistorted[std::size_t(point.sights[i].spot)];
      const double miss =
          depth > 0 ? std::hypot(shown.x - seen.x, shown.y - seen.y) * double(frame.features.work_scale)
                    : 1e9;
      if (miss > most) most = miss, worst = i;
    }
    if (most <= tolerance) break;
    if (point.sights.size() == 3) return std::nullopt;  // which two of three are right cannot be told
    point.sights.erase(point.sights.begin() + std::ptrdiff_t(worst));
  }
  if (point.sights.size() < 2) return std::nullopt;
  return point;
}

void add_raised_points(const std::vector<TieFrame>& frames, const std::vector<TiePoint>& raised,
                       Group& group) {
  std::vector<TiePoint> several;
  for (const TiePoint& p : raised)
    if (p.sights.size() >= 3) several.push_back(p);
  for (const TiePoint& p : thin_out(frames, several, kSightsOfFrame)) {
    const auto point = intersect(frames, group, p);
    if (!point) continue;
    const int index = int(group.network.points.size());
    NetworkPoint& added = group.network.points.emplace_back();
    added.position = point->position;
    added.footing = Footing::free_height;
    for (const Sight& s : point->sights) {
      const TieFrame& frame = frames[std::size_t(s.frame)];
      const Feature& spot = frame.features.spots[std::size_t(s.spot)];
      group.network.sightings.push_back({place_of(group, s.frame),
                                         index,
                                         {spot.x_px, spot.y_px},
                                         kSpotSigma / double(frame.features.work_scale)});
    }
  }
}

}  // namespace lookdown::place
