#include "stages/place/registration/consistency_check.h"

#include <algorithm>
#include <cmath>

#include "stages/place/planes/off_plane_points.h"
#include "stages/place/registration/guided_matching.h"

namespace lookdown::place {
namespace {

constexpr double kContradicts_px = 8;  ///< pixels of the searched copy
constexpr double kLeastAgreeing = 0.65;
constexpr int kFewestMatches = 30;

struct Agreement {
  int a = 0, b = 0;  ///< places in the group
  int matches = 0, agreeing = 0;
};

Agreement agreement_of(const std::vector<TieFrame>& frames, const Group& group, const Tie& tie, int a,
                       int b) {
  const TieFrame &frame_a = frames[std::size_t(tie.a)], &frame_b = frames[std::size_t(tie.b)];
  const Homography<UndistortedPx, UndistortedPx> b_from_a{
      by_way_of_ground(group.network.poses[std::size_t(a)], frame_a.camera,
                       group.network.poses[std::size_t(b)], frame_b.camera)};
  const double tolerance = kContradicts_px / double(frame_b.features.work_scale);
  Agreement agreement{a, b, int(tie.matches.size()), 0};
  for (const Match& m : tie.matches) {
    const auto expected = b_from_a * frame_a.undistorted[std::size_t(m.a)];
    const auto& seen = frame_b.undistorted[std::size_t(m.b)];
    agreement.agreeing += std::hypot(expected.x - seen.x, expected.y - seen.y) < tolerance ||
                          intersect(frames, group, {{{tie.a, m.a}, {tie.b, m.b}}}).has_value();
  }
  return agreement;
}

}  // namespace

std::vector<int> contradicting_members(const std::vector<TieFrame>& frames, const std::vector<Tie>& ties,
                                       const Group& group) {
  std::vector<Agreement> agreements;
  for (const Tie& t : ties) {
    const int a = place_of(group, t.a), b = place_of(group, t.b);
    if (a >= 0 && b >= 0 && group.held_firmly[std::size_t(a)] && group.held_firmly[std::size_t(b)])
      agreements.push_back(agreement_of(frames, group, t, a, b));
  }
  std::vector<int> contradicting;
  for (;;) {
    std::vector<int> matches(group.members.size(), 0), agreeing = matches;
    for (const Agreement& one : agreements)
      for (const int place : {one.a, one.b}) {
        matches[std::size_t(place)] += one.matches;
        agreeing[std::size_t(place)] += one.agreeing;
      }
    int worst = -1;
    double least = kLeastAgreeing;
    for (std::size_t i = 0; i < matches.size(); ++i) {
      const double share = matches[i] >= kFewestMatches ? double(agreeing[i]) / matches[i] : 1;
      if (share < least) least = share, worst = int(i);
    }
    if (worst < 0) return contradicting;
    contradicting.push_back(worst);
    std::erase_if(agreements, [&](const Agreement& one) { return one.a == worst || one.b == worst; });
  }
}

}  // namespace lookdown::place
