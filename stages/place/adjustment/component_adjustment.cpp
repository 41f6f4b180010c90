#include "stages/place/adjustment/component_adjustment.h"

#include <Eigen/Geometry>
#include <Eigen/LU>
#include <algorithm>
#include <cmath>
#include <map>
#include <numeric>

#include "pipeline/base/robust_statistics.h"
#include "stages/place/adjustment/lens_projection.h"
#include "stages/place/adjustment/outlier_rounds.h"
#include "stages/place/adjustment/pose_covariance.h"
#include "stages/place/adjustment/space_adjustment.h"
#include "stages/place/planes/off_plane_points.h"
#include "stages/place/planes/roof_dominated_images.h"
#include "stages/place/registration/consistency_check.h"
#include "stages/place/registration/ground_correspondences.h"
#include "stages/place/registration/guided_matching.h"
#include "stages/place/registration/initial_network.h"
#include "stages/place/registration/resection.h"

namespace lookdown::place {
namespace {
constexpr int kSightsOfFrame = 320;
constexpr int kFewestSights = 12;
/// Two or three frames leave more than one plane that explains them (Malis & Vargas, INRIA RR-6303, 2007):
/// the one nearest to a hanging camera is taken. When even that one tilts more than cameras hang, the frames
/// were not taken from above and no tilt is known.
constexpr std::size_t kTooFewToTell = 3;
constexpr double kMostHangingDeg = 12;

void drop_points_behind(Network& network) {
  std::vector<Eigen::Vector3d> sums(network.points.size(), Eigen::Vector3d::Zero());
  std::vector<int> counts(network.points.size(), 0);
  for (const Sighting& s : network.sightings)
    if (const auto p = on_plane(network, s)) {
      sums[std::size_t(s.point)] += *p;
      ++counts[std::size_t(s.point)];
    }
  for (std::size_t i = 0; i < sums.size(); ++i)
    if (counts[i] > 0 && network.points[i].footing != Footing::given)
      network.points[i].position = sums[i] / counts[i];
  std::erase_if(network.sightings, [&](const Sighting& s) { return counts[std::size_t(s.point)] == 0; });
}

/// Places in the group of the frames' indices.
std::map<int, int> places_of(const std::vector<int>& members) {
  std::map<int, int> at;
  for (std::size_t i = 0; i < members.size(); ++i) at[members[i]] = int(i);
  return at;
}

void add_tie_points(const GroupInput& input, const std::vector<Tie>& ties, const std::vector<int>& members,
                    Network& network) {
  std::map<int, int> at = places_of(members);
  std::vector<Tie> own;
  for (const Tie& t : ties)
    if (at.contains(t.a) && at.contains(t.b)) own.push_back(t);
  for (const TiePoint& p : thin_out(input.frames, chain_matches(input.frames, own), kSightsOfFrame)) {
    const int index = int(network.points.size());
    network.points.push_back({});
    for (const Sight& s : p.sights) {
      const TieFrame& frame = input.frames[std::size_t(s.frame)];
      const Feature& spot = frame.features.spots[std::size_t(s.spot)];
      network.sightings.push_back({at[s.frame], index, {spot.x_px, spot.y_px}, spot_sigma_px(frame)});
    }
  }
}

Network first_network(const GroupInput& input, const std::vector<int>& members) {
  Network network;
  network.poses = first_layout(input.frames, input.ties, members);
  network.known_cameras = input.cameras;
  for (const KnownCamera& c : input.cameras) network.cameras.push_back(c.prior);
  for (std::size_t i = 0; i < members.size(); ++i) {
    network.camera_of_frame.push_back(input.camera_of_frame[std::size_t(members[i])]);
    const TiltKnowledge& known = input.tilts[std::size_t(members[i])];
    KnownTilt tilt{int(i), {0, 0, 1}, kSwingSigma};
    if (known.down_in_camera) tilt = {int(i), *known.down_in_camera, std::max(known.sigma_rad, 0.002)};
    network.known_tilts.push_back(tilt);
  }
  add_tie_points(input, input.ties, members, network);
  drop_points_behind(network);
  return network;
}

/// Same frames, cameras and knowledge, other tie points.
void renew_tie_points(const GroupInput& input, Group& group) {
  group.network.points.clear();
  group.network.sightings.clear();
  add_tie_points(input, group.ties, group.members, group.network);
  drop_points_behind(group.network);
}

/// Tilts first, then the lens, losses growing sharper: from a straight-down guess to within a few pixels.
void balance_coarsely(Network& network) {
  AdjustmentOptions options;
  options.held_frame = busiest_frame(network);
  options.free_focal = options.free_principal_point = options.free_distortion = false;
  options.loss_px = 40;
  options.iterations = 12;
  adjust(network, options);
  options.free_distortion = true;
  options.free_focal = options.free_principal_point = true;
  options.loss_px = 12;
  options.iterations = 15;
  adjust(network, options);
}

/// From a good start: outlier rounds with a sharp loss.
void balance_finely(Network& network) {
  AdjustmentOptions options;
  options.held_frame = busiest_frame(network);
  options.loss_px = 4;
  options.iterations = 20;
  drop_outliers(network, 8);
  adjust(network, options);
  for (int round = 0; round < 2; ++round) {
    drop_outliers(network, 4);
    options.loss_px = 2;
    adjust(network, options);
  }
}

/// Frames that the straight-down guess led astray (obliques, mostly) get a pose from their neighbours.
/// Returns how many.
int resect_strays(const GroupInput& input, Group& group) {
  const std::vector<double> medians = median_residual_of_frames(group.network);
  const double limit = std::max(6.0, 4 * median(medians));
  std::vector<bool> trusted;
  trusted.reserve(medians.size());
  for (double m : medians) trusted.push_back(m <= limit);
  int changed = 0;
  for (std::size_t i = 0; i < medians.size(); ++i) {
    if (trusted[i]) continue;
    const Camera& camera = group.network.camera_of(i);
    const double tolerance =
        2 * limit * kSpotSigma / double(input.frames[std::size_t(group.members[i])].features.work_scale);
    const auto found =
        resect(ground_from_neighbours(input.frames, input.ties, group, int(i), trusted), camera, tolerance);
    if (!found) continue;
    group.network.poses[i] = found->pose;
    ++changed;
  }
  return changed;
}

/// When the straight-down guess fits badly as a whole, starts that look aslant are tried and the best is
/// taken.
void try_oblique_starts(const GroupInput& input, Group& group) {
  constexpr double good_enough = 4;
  double best = median_residual(group.network);
  if (best < good_enough) return;
  const Network straight = group.network;
  for (const std::vector<Pose>& start : oblique_starts(input.frames, input.ties, group)) {
    Group trial = group;
    trial.network = straight;
    trial.network.poses = start;
    trial.network.cameras.clear();
    for (const KnownCamera& c : input.cameras) trial.network.cameras.push_back(c.prior);
    renew_tie_points(input, trial);
    balance_coarsely(trial.network);
    const double median = median_residual(trial.network);
    if (!(median < 0.8 * best)) continue;
    best = median;
    group.network = std::move(trial.network);
  }
}

/// Members that the renewed search left without a tie keep those they had.
std::vector<Tie> with_ties_of_untied(std::vector<Tie> renewed, const std::vector<Tie>& before,
                                     const std::vector<int>& members) {
  std::vector<int> tied;
  for (const Tie& t : renewed) tied.insert(tied.end(), {t.a, t.b});
  std::sort(tied.begin(), tied.end());
  const auto untied = [&](int m) {
    return std::binary_search(members.begin(), members.end(), m) &&
           !std::binary_search(tied.begin(), tied.end(), m);
  };
  for (const Tie& t : before)
    if (untied(t.a) || untied(t.b)) renewed.push_back(t);
  std::sort(renewed.begin(), renewed.end(),
            [](const Tie& p, const Tie& q) { return std::pair(p.a, p.b) < std::pair(q.a, q.b); });
  return renewed;
}

/// Ties where frames overlap by the present poses, and the network balanced with them.
void tie_anew(const GroupInput& input, const GeometricTieOptions& options, Group& group) {
  take_lens(input.frames, group);
  group.ties = with_ties_of_untied(geometric_ties(input.frames, group, input.ties, options), input.ties,
                                   group.members);
  renew_tie_points(input, group);
  balance_finely(group.network);
}

/// What stands off the plane gets heights of its own and helps to hold the frames.
void raise_points(const GroupInput& input, Group& group) {
  take_lens(input.frames, group);
  std::vector<bool> held = held_by_ground(group);
  group.raised = raised_tie_points(input.frames, group, held);
  drop_raised_ground(input.frames, group.raised, group);
  held = held_by_ground(group);
  if (resect_over_roofs(input.frames, input.ties, group.raised, group, held) > 0)
    group.raised = raised_tie_points(input.frames, group, held);
  add_raised_points(input.frames, group.raised, group);
  balance_finely(group.network);
  take_lens(input.frames, group);
}

void judge_members(Group& group) {
  const std::size_t count = group.members.size();
  group.sights.assign(count, 0);
  group.rmse_px.assign(count, 0);
  group.tilt_sigma_rad.assign(count, 0);
  group.held_firmly.assign(count, false);
  for (const Sighting& s : group.network.sightings) {
    const double r = residual_px(group.network, s);
    ++group.sights[std::size_t(s.frame)];
    group.rmse_px[std::size_t(s.frame)] += r * r;
  }
  for (std::size_t i = 0; i < count; ++i) {
    if (group.sights[i] > 0) group.rmse_px[i] = std::sqrt(group.rmse_px[i] / group.sights[i]);
    group.held_firmly[i] = group.sights[i] >= kFewestSights && group.network.poses[i].centre.z() > 0;
  }
  const Sureness sure = sureness_of(group.network);
  group.tilt_sigma_rad = sure.tilt_rad;
  for (const int c : group.network.camera_of_frame)
    group.focal_sigma_share = std::max(group.focal_sigma_share, sure.focal_share[std::size_t(c)]);
  const auto& poses = group.network.poses;
  group.tilt_is_a_guess =
      count <= kTooFewToTell && std::any_of(poses.begin(), poses.end(),
                                            [](const Pose& p) { return off_nadir_deg(p) > kMostHangingDeg; });
  if (group.tilt_is_a_guess) group.tilt_sigma_rad.assign(count, kSwingSigma);
}

/// Frames that hang on the rest by nothing but themselves would float: only the largest part that surviving
/// points connect is held.
void keep_largest_part(Group& group) {
  std::vector<int> part(group.members.size());
  std::iota(part.begin(), part.end(), 0);
  const auto root = [&](int i) {
    while (part[std::size_t(i)] != i) i = part[std::size_t(i)];
    return i;
  };
  std::vector<int> first_frame(group.network.points.size(), -1);
  for (const Sighting& s : group.network.sightings) {
    int& first = first_frame[std::size_t(s.point)];
    if (first < 0) first = s.frame;
    const int p = root(first), q = root(s.frame);
    part[std::size_t(std::max(p, q))] = std::min(p, q);
  }
  std::map<int, int> size;
  for (std::size_t i = 0; i < part.size(); ++i) ++size[root(int(i))];
  const auto largest = std::max_element(size.begin(), size.end(),
                                        [](const auto& p, const auto& q) { return p.second < q.second; });
  for (std::size_t i = 0; i < part.size(); ++i)
    if (root(int(i)) != largest->first) group.held_firmly[i] = false;
}

}  // namespace

Group adjust_group(const GroupInput& input, const std::vector<int>& members) {
  Group group;
  group.members = members;
  group.ties = input.ties;
  group.network = first_network(input, members);
  balance_coarsely(group.network);
  try_oblique_starts(input, group);
  for (int round = 0; round < 3 && resect_strays(input, group) > 0; ++round) {
    renew_tie_points(input, group);
    balance_coarsely(group.network);
  }
  constexpr GeometricTieOptions wide{20, 4}, narrow{8, 3};
  tie_anew(input, wide, group);
  // Under the wrong projection what the rims of the frames share was not recognised.
  if (choose_projections(group.network)) tie_anew(input, wide, group);
  tie_anew(input, narrow, group);
  raise_points(input, group);
  adjust_in_space(input, group);
  judge_members(group);
  keep_largest_part(group);
  for (const int place : contradicting_members(input.frames, input.ties, group))
    group.held_firmly[std::size_t(place)] = false;
  return group;
}

}  // namespace lookdown::place
