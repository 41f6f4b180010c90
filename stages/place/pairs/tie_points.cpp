#include "stages/place/pairs/tie_points.h"

#include <algorithm>
#include <cmath>
#include <numeric>

namespace lookdown::place {
namespace {

/// Disjoint sets over integers.
class Sets {
 public:
  explicit Sets(std::size_t count) : parent_(count) { std::iota(parent_.begin(), parent_.end(), 0); }
  int root(int i) {
    while (parent_[std::size_t(i)] != i)
      i = parent_[std::size_t(i)] = parent_[std::size_t(parent_[std::size_t(i)])];
    return i;
  }
  void hang(int child, int under) { parent_[std::size_t(child)] = under; }

 private:
  std::vector<int> parent_;
};

bool share_a_frame(const std::vector<Sight>& p, const std::vector<Sight>& q) {
  std::size_t i = 0, j = 0;
  while (i < p.size() && j < q.size()) {
    if (p[i].frame == q[j].frame) return true;
    if (p[i].frame < q[j].frame) {
      ++i;
    } else {
      ++j;
    }
  }
  return false;
}

}  // namespace

std::vector<TiePoint> chain_matches(const std::vector<TieFrame>& frames, const std::vector<Tie>& ties) {
  std::vector<int> first(frames.size() + 1, 0);
  for (std::size_t i = 0; i < frames.size(); ++i) first[i + 1] = first[i] + int(frames[i].features.size());
  Sets sets(std::size_t(first.back()));
  std::vector<std::vector<Sight>> sights(std::size_t(first.back()));
  for (std::size_t i = 0; i < frames.size(); ++i)
    for (int s = 0; s < int(frames[i].features.size()); ++s)
      sights[std::size_t(first[i] + s)] = {{int(i), s}};

  // Ties with many matches first: a wrong match in a weak tie then meets a finished point and is refused.
  std::vector<std::size_t> order(ties.size());
  std::iota(order.begin(), order.end(), 0);
  std::stable_sort(order.begin(), order.end(), [&](std::size_t a, std::size_t b) {
    return ties[a].matches.size() > ties[b].matches.size();
  });
  for (std::size_t t : order)
    for (const Match& m : ties[t].matches) {
      int p = sets.root(first[std::size_t(ties[t].a)] + m.a),
          q = sets.root(first[std::size_t(ties[t].b)] + m.b);
      if (p == q) continue;
      if (sights[std::size_t(p)].size() < sights[std::size_t(q)].size()) std::swap(p, q);
      auto& large = sights[std::size_t(p)];
      auto& small = sights[std::size_t(q)];
      if (share_a_frame(large, small)) continue;
      std::vector<Sight> merged;
      std::merge(large.begin(), large.end(), small.begin(), small.end(), std::back_inserter(merged),
                 [](const Sight& x, const Sight& y) { return x.frame < y.frame; });
      large = std::move(merged);
      small.clear();
      sets.hang(q, p);
    }
  std::vector<TiePoint> points;
  for (auto& s : sights)
    if (s.size() >= 2) points.push_back({std::move(s)});
  return points;
}

std::vector<TiePoint> thin_out(const std::vector<TieFrame>& frames, const std::vector<TiePoint>& points,
                               int wanted) {
  constexpr int columns = 10, rows = 8;
  const int quota = std::max(1, wanted / (columns * rows));
  std::vector<std::size_t> order(points.size());
  std::iota(order.begin(), order.end(), 0);
  std::stable_sort(order.begin(), order.end(), [&](std::size_t a, std::size_t b) {
    return points[a].sights.size() > points[b].sights.size();
  });
  std::vector<int> taken(frames.size() * columns * rows, 0);
  const auto cell = [&](const Sight& s) {
    const TieFrame& f = frames[std::size_t(s.frame)];
    const Feature& spot = f.features.spots[std::size_t(s.spot)];
    const int c = std::clamp(int(spot.x_px * columns / float(f.camera.width_px)), 0, columns - 1);
    const int r = std::clamp(int(spot.y_px * rows / float(f.camera.height_px)), 0, rows - 1);
    return (std::size_t(s.frame) * rows + std::size_t(r)) * columns + std::size_t(c);
  };
  std::vector<TiePoint> kept;
  for (std::size_t i : order) {
    const auto& sights = points[i].sights;
    // A point is wanted when at least two frames still have room where it lies.
    const auto room =
        std::count_if(sights.begin(), sights.end(), [&](const Sight& s) { return taken[cell(s)] < quota; });
    if (room < 2) continue;
    for (const Sight& s : sights) ++taken[cell(s)];
    kept.push_back(points[i]);
  }
  return kept;
}

std::vector<std::vector<int>> connected_groups(std::size_t frames, const std::vector<Tie>& ties) {
  Sets sets(frames);
  for (const Tie& t : ties) {
    const int p = sets.root(t.a), q = sets.root(t.b);
    if (p != q) sets.hang(std::max(p, q), std::min(p, q));
  }
  std::vector<std::vector<int>> members(frames);
  for (int i = 0; i < int(frames); ++i) members[std::size_t(sets.root(i))].push_back(i);
  std::erase_if(members, [](const std::vector<int>& m) { return m.size() < 2; });
  std::stable_sort(members.begin(), members.end(),
                   [](const auto& p, const auto& q) { return p.size() > q.size(); });
  return members;
}

}  // namespace lookdown::place
