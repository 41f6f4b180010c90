#include "stages/place/adjustment/space_adjustment.h"

#include <tbb/parallel_for.h>

#include <Eigen/Geometry>
#include <Eigen/LU>
#include <algorithm>
#include <cmath>
#include <optional>

#include "pipeline/base/robust_statistics.h"
#include "stages/place/adjustment/level.h"
#include "stages/place/adjustment/outlier_rounds.h"
#include "stages/place/planes/off_plane_points.h"
#include "stages/place/planes/roof_dominated_images.h"

namespace lookdown::place {
namespace {

constexpr int kSightsOfFrameInSpace = 480;
constexpr int kFewestSightsInSpace = 20;
/// Roofs and trees alone rarely fill more of a flight than this; they are found as planes and points off the
/// plane.
constexpr double kLeastRaisedShare = 0.2;
/// Of the spread of heights over their standard deviation: the ground itself, not what stands on it, is off
/// the plane.
constexpr double kLeastRelief = 2;
/// Of the median residual on one plane over that in space: what looks like relief but would lie on a plane as
/// well is the lens (James & Robson, Earth Surf. Process. Landforms 39:1413, 2014, on domes).
constexpr double kPoorerFit = 1.4;
constexpr double kWideTolerance = 12;   ///< pixels of the searched copy, before anything is known of heights
constexpr double kSureness = 3;         ///< standard deviations by which a height counts as told
constexpr double kStrangeHeight = 0.7;  ///< of the flying height: rays of a false match meet there
constexpr double kUnsureHeight = 0.05;  ///< of the flying height: rays too parallel to start a height from

/// Median residual of the points' sights were they on the plane z = 0, in units of a sighting's sigma.
double median_residual_on_plane(const GroupInput& input, const Group& group,
                                const std::vector<TiePoint>& points) {
  std::vector<double> residuals;
  for (const TiePoint& p : points) {
    Eigen::Vector3d mean = Eigen::Vector3d::Zero();
    for (const Sight& s : p.sights) mean += on_mean_plane(input.frames, group, s) / double(p.sights.size());
    for (const Sight& s : p.sights) {
      const std::size_t place = std::size_t(place_of(group, s.frame));
      const TieFrame& frame = input.frames[std::size_t(s.frame)];
      double depth = 0;
      const auto expected = project(group.network.poses[place], group.network.camera_of(place), mean, &depth);
      const auto& seen = frame.undistorted[std::size_t(s.spot)];
      residuals.push_back(depth > 0 ? std::hypot(expected.x - seen.x, expected.y - seen.y) *
                                          double(frame.features.work_scale) / kSpotSigma
                                    : 1e6);
    }
  }
  return median_in_place(residuals);
}

/// Members whose sightings agree with the rest well enough to hang others on.
std::vector<bool> well_held(const Network& network) {
  const std::vector<double> medians = median_residual_of_frames(network);
  std::vector<int> sights(network.poses.size(), 0);
  for (const Sighting& s : network.sightings) ++sights[std::size_t(s.frame)];
  const double limit = std::max(6.0, 4 * median(medians));
  std::vector<bool> held;
  for (std::size_t i = 0; i < medians.size(); ++i)
    held.push_back(sights[i] >= kFewestSightsInSpace && medians[i] <= limit &&
                   network.poses[i].centre.z() > 0);
  return held;
}

/// Ties of held members only.
std::vector<Tie> ties_between(const std::vector<Tie>& ties, const Group& group,
                              const std::vector<bool>& held) {
  std::vector<Tie> own;
  for (const Tie& t : ties) {
    const int a = place_of(group, t.a), b = place_of(group, t.b);
    if (a >= 0 && b >= 0 && held[std::size_t(a)] && held[std::size_t(b)]) own.push_back(t);
  }
  return own;
}

/// Chained matches whose rays meet within `tolerance` pixels of the searched copy.
std::vector<TiePoint> meeting_points(const GroupInput& input, const Group& group,
                                     const std::vector<Tie>& ties, double tolerance) {
  const std::vector<TiePoint> chained = chain_matches(input.frames, ties);
  std::vector<std::optional<RaisedPoint>> met(chained.size());
  tbb::parallel_for(std::size_t(0), chained.size(),
                    [&](std::size_t i) { met[i] = meet(input.frames, group, chained[i], tolerance); });
  std::vector<TiePoint> points;
  for (auto& m : met)
    if (m) points.push_back({std::move(m->sights)});
  return points;
}

/// The network gets these tie points, each with a height of its own near the mean plane.
void take_points(const GroupInput& input, const std::vector<TiePoint>& points, Group& group) {
  Network& network = group.network;
  network.points.clear();
  network.sightings.clear();
  const double unsure = kUnsureHeight * flying_height(network);
  for (const TiePoint& p : thin_out(input.frames, points, kSightsOfFrameInSpace)) {
    const auto met = meet(input.frames, group, p, 1e6);
    if (!met) continue;
    const int index = int(network.points.size());
    NetworkPoint& point = network.points.emplace_back();
    point.footing = Footing::near_plane;
    point.position = met->position;
    const bool strange = std::abs(met->position.z()) > kStrangeHeight * flying_height(network);
    if (strange || !(met->height_sigma <= unsure))
      point.position = on_mean_plane(input.frames, group, met->sights.front());
    for (const Sight& s : met->sights) {
      const TieFrame& frame = input.frames[std::size_t(s.frame)];
      const Feature& spot = frame.features.spots[std::size_t(s.spot)];
      network.sightings.push_back(
          {place_of(group, s.frame), index, {spot.x_px, spot.y_px}, spot_sigma_px(frame)});
    }
  }
}

double spread_of_heights(const Network& network) {
  std::vector<double> heights;
  for (const NetworkPoint& p : network.points) heights.push_back(std::abs(p.position.z()));
  return kSigmaOfMad * median_in_place(heights);
}

double relief_sigma(const Network& network) {
  return std::max(0.005 * flying_height(network), 1.5 * spread_of_heights(network));
}

void balance(Network& network, double loss_px, int rounds) {
  AdjustmentOptions options;
  options.held_frame = busiest_frame(network);
  options.iterations = 25;
  options.loss_px = 2 * loss_px;
  for (int round = 0; round < rounds; ++round) {
    network.relief_sigma = relief_sigma(network);
    adjust(network, options);
    drop_outliers(network, 4);
    options.loss_px = loss_px;
  }
  network.relief_sigma = relief_sigma(network);
  adjust(network, options);
  lay_on_mean_plane(network);
}

/// Frames that the plane has led astray are drawn in by all that they share with others, the loss growing
/// sharper; nothing is left out for not fitting yet.
void draw_in_strays(const GroupInput& input, Group& group) {
  const std::vector<bool> all(group.members.size(), true);
  const std::vector<Tie> ties = ties_between(input.ties, group, all);
  Network& network = group.network;
  for (const double tolerance : {60.0, 25.0}) {
    take_points(input, meeting_points(input, group, ties, tolerance), group);
    AdjustmentOptions options;
    options.held_frame = busiest_frame(network);
    for (const double loss_px : {tolerance, tolerance / 3}) {
      network.relief_sigma = relief_sigma(network);
      options.loss_px = loss_px;
      adjust(network, options);
    }
    lay_on_mean_plane(network);
  }
}

/// All but half a per cent of the heights at either end.
HeightRange without_ends(std::vector<double> heights) {
  std::sort(heights.begin(), heights.end());
  const std::size_t left_out = heights.size() / 200;
  return {heights[left_out], heights[heights.size() - 1 - left_out]};
}

/// Range of heights in which matches are looked for, as shares of the flying height: what is known with half
/// as much again.
HeightRange range_of(const Network& network) {
  std::vector<double> heights;
  for (const NetworkPoint& p : network.points) heights.push_back(p.position.z() / flying_height(network));
  if (heights.size() < 50) return {};
  const auto [low, high] = without_ends(std::move(heights));
  const double more = 0.5 * (high - low) + 0.03;
  return {std::max(-0.6, low - more), std::min(0.6, high + more)};
}

/// What the rays tell of the points' heights.
Relief relief_of(const GroupInput& input, const Group& group, const std::vector<TiePoint>& points) {
  std::vector<double> sigmas, heights;
  int told = 0;
  for (const TiePoint& p : points) {
    const auto met = meet(input.frames, group, p, 1e6);
    if (!met || met->sights.size() < 3) continue;
    sigmas.push_back(met->height_sigma);
    heights.push_back(met->position.z());
    told += std::abs(met->position.z()) > kSureness * met->height_sigma;
  }
  Relief relief;
  if (sigmas.size() < 100) return relief;
  relief.raised_share = double(told) / double(sigmas.size());
  relief.height_sigma = median_in_place(sigmas) / flying_height(group.network);
  relief.spread = spread_of_heights(group.network) / flying_height(group.network);
  const auto [lowest, highest] = without_ends(std::move(heights));
  relief.lowest = lowest / flying_height(group.network);
  relief.highest = highest / flying_height(group.network);
  return relief;
}

bool tells_relief(const Relief& relief) {
  return relief.raised_share > kLeastRaisedShare && relief.spread > kLeastRelief * relief.height_sigma;
}

}  // namespace

double flying_height(const Network& network) {
  std::vector<double> heights;
  for (const Pose& p : network.poses)
    if (p.centre.z() > 0) heights.push_back(p.centre.z());
  return median_in_place(heights, 1.0);
}

void adjust_in_space(const GroupInput& input, Group& group) {
  if (group.members.size() < 3) return;
  Group trial = group;
  std::vector<bool> held = well_held(trial.network);
  const std::vector<TiePoint> known =
      meeting_points(input, trial, ties_between(input.ties, trial, held), kWideTolerance);
  const double flat = median_residual_on_plane(input, group, known);
  take_points(input, known, trial);
  balance(trial.network, 4, 2);
  if (!tells_relief(relief_of(input, trial, known)) || flat < kPoorerFit * median_residual(trial.network))
    return;

  draw_in_strays(input, trial);
  std::vector<TiePoint> points;
  for (const double width : {6.0, 2.5, 2.5}) {
    take_lens(input.frames, trial);
    held = well_held(trial.network);
    const std::vector<Tie> along_rays =
        epipolar_ties(input.frames, trial, held, range_of(trial.network), width);
    points = meeting_points(input, trial, along_rays, width);
    if (resect_over_roofs(input.frames, input.ties, points, trial, held) > 0)
      points = meeting_points(
          input, trial, epipolar_ties(input.frames, trial, held, range_of(trial.network), width), width);
    take_points(input, points, trial);
    balance(trial.network, 2, 2);
  }
  take_lens(input.frames, trial);
  trial.relief = relief_of(input, trial, points);
  trial.relief.supported = tells_relief(trial.relief);
  if (!trial.relief.supported) {
    take_lens(input.frames, group);
    return;
  }
  trial.raised.clear();
  level(trial.network);
  group = std::move(trial);
}

}  // namespace lookdown::place
