#include "stages/place/registration/guided_matching.h"

#include <tbb/parallel_for.h>
#include <Eigen/LU>

#include <algorithm>
#include <optional>
#include <set>

#include "pipeline/base/scheduler.h"
#include "stages/place/pairs/pair_geometry.h"

namespace lookdown::place {
namespace {

struct Overlap {
  double share = 0;
  int a = 0, b = 0;  ///< places in the group, a < b
};

/// Radius of the circle on the ground that holds a frame's footprint.
double footprint_radius(const Group& group, int place) {
  const Camera& c = group.network.camera_of(std::size_t(place));
  return 1.3 * group.network.poses[std::size_t(place)].centre.z() * 0.5 *
         std::hypot(c.width_px, c.height_px) / c.fx_px;
}

std::vector<Overlap> overlaps(const std::vector<TieFrame>& frames, const Group& group, double least) {
  std::vector<Overlap> found;
  const int count = int(group.members.size());
  for (int a = 0; a < count; ++a)
    for (int b = a + 1; b < count; ++b) {
      const Pose& pa = group.network.poses[std::size_t(a)];
      const Pose& pb = group.network.poses[std::size_t(b)];
      if (!(pa.centre.z() > 0) || !(pb.centre.z() > 0)) continue;
      // A swing of 30 degrees moves a footprint by half the height.
      const double reach =
          footprint_radius(group, a) + footprint_radius(group, b) + 0.5 * (pa.centre.z() + pb.centre.z());
      if ((pa.centre - pb.centre).head<2>().norm() > reach) continue;
      const Eigen::Matrix3d h = by_way_of_ground(pa, group.network.camera_of(std::size_t(a)), pb,
                                                 group.network.camera_of(std::size_t(b)));
      const TieFrame& fa = frames[std::size_t(group.members[std::size_t(a)])];
      const TieFrame& fb = frames[std::size_t(group.members[std::size_t(b)])];
      const double share = std::max(overlap_share(fa, fb, h), overlap_share(fb, fa, h.inverse()));
      if (share >= least) found.push_back({share, a, b});
    }
  return found;
}

/// The best-overlapping pairs of every frame: a pair counts when either of its frames ranks it high.
std::set<std::pair<int, int>> chosen_pairs(const std::vector<Overlap>& all, std::size_t frames, int most) {
  std::vector<std::vector<Overlap>> of(frames);
  for (const Overlap& o : all) {
    of[std::size_t(o.a)].push_back(o);
    of[std::size_t(o.b)].push_back(o);
  }
  std::set<std::pair<int, int>> pairs;
  for (auto& list : of) {
    std::stable_sort(list.begin(), list.end(),
                     [](const Overlap& p, const Overlap& q) { return p.share > q.share; });
    for (std::size_t k = 0; k < std::min(list.size(), std::size_t(most)); ++k)
      pairs.insert({list[k].a, list[k].b});
  }
  return pairs;
}

}  // namespace

Eigen::Matrix3d by_way_of_ground(const Pose& a, const Camera& camera_a, const Pose& b,
                                 const Camera& camera_b) {
  return (ground_from_frame(b, camera_b).inverse() * ground_from_frame(a, camera_a)).matrix;
}

std::vector<Tie> geometric_ties(const std::vector<TieFrame>& frames, const Group& group,
                                const std::vector<Tie>& known, const GeometricTieOptions& options) {
  auto chosen = chosen_pairs(overlaps(frames, group, options.least_overlap), group.members.size(),
                             options.most_of_frame);
  for (const Tie& t : known) {
    const int a = place_of(group, t.a), b = place_of(group, t.b);
    if (a >= 0 && b >= 0) chosen.insert({a, b});
  }
  const std::vector<std::pair<int, int>> pairs(chosen.begin(), chosen.end());
  std::vector<std::optional<Tie>> found(pairs.size());
  tbb::parallel_for(std::size_t(0), pairs.size(), [&](std::size_t i) {
    if (stop_requested()) return;
    const auto [a, b] = pairs[i];
    const Eigen::Matrix3d h =
        by_way_of_ground(group.network.poses[std::size_t(a)], group.network.camera_of(std::size_t(a)),
                         group.network.poses[std::size_t(b)], group.network.camera_of(std::size_t(b)));
    found[i] = tie_guided(frames, group.members[std::size_t(a)], group.members[std::size_t(b)], h,
                          options.radius, options.tolerance);
  });
  stop_if_requested();
  std::vector<Tie> ties;
  for (auto& tie : found)
    if (tie) ties.push_back(std::move(*tie));
  return ties;
}

}  // namespace lookdown::place
