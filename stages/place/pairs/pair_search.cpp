#include "stages/place/pairs/pair_search.h"

#include <tbb/parallel_for.h>
#include <Eigen/LU>

#include <algorithm>
#include <map>
#include <optional>
#include <set>
#include <utility>

#include "pipeline/base/scheduler.h"
#include "stages/place/features/vocabulary_tree.h"
#include "stages/place/pairs/pair_geometry.h"

namespace lookdown::place {
namespace {

using Pair = std::pair<int, int>;

constexpr int kNearestPositions = 10;
constexpr double kLeastOverlap = 0.12;
constexpr double kChainRadius =
    60;  ///< pixels of the searched copy: what two chained homographies may be off
constexpr int kRounds = 8;

Pair ordered(int a, int b) {
  return a < b ? Pair{a, b} : Pair{b, a};
}

void add_positions(const std::vector<RoughPosition>& positions, std::set<Pair>& pairs) {
  for (std::size_t i = 0; i < positions.size(); ++i) {
    if (!positions[i].known) continue;
    std::vector<std::pair<double, int>> near;
    for (std::size_t j = 0; j < positions.size(); ++j)
      if (j != i && positions[j].known)
        near.emplace_back(
            std::hypot(positions[i].x_m - positions[j].x_m, positions[i].y_m - positions[j].y_m), int(j));
    const std::size_t kept = std::min<std::size_t>(near.size(), kNearestPositions);
    // cppcheck-suppress containerOutOfBounds ; `kept` is at most what there is
    std::partial_sort(near.begin(), near.begin() + std::ptrdiff_t(kept), near.end());
    for (std::size_t k = 0; k < kept; ++k) pairs.insert(ordered(int(i), near[k].second));
  }
}

std::set<Pair> first_candidates(const std::vector<TieFrame>& frames,
                                const std::vector<RoughPosition>& positions,
                                const PairSearchOptions& options) {
  std::set<Pair> pairs;
  const int count = int(frames.size());
  for (int i = 0; i < count; ++i) {
    const int reach = count <= options.all_pairs_up_to ? count : options.neighbours_in_time;
    for (int j = i + 1; j < count && j <= i + reach; ++j) pairs.insert({i, j});
  }
  if (count <= options.all_pairs_up_to) return pairs;
  std::vector<FrameFeatures> views;
  views.reserve(frames.size());
  for (const TieFrame& f : frames) views.push_back(f.features);
  const auto alike = look_alikes(views, options.look_alikes);
  for (int i = 0; i < count; ++i)
    for (int j : alike[std::size_t(i)]) pairs.insert(ordered(i, j));
  add_positions(positions, pairs);
  return pairs;
}

/// Compares pairs in parallel, those that memory does not know; the answer does not depend on who finishes
/// first. `question_of`: what is asked of a pair besides its frames.
template <class Question, class Compare>
std::vector<std::optional<Tie>> compare_all(const std::vector<Pair>& pairs, PairMemory& memory,
                                            Question&& question_of, Compare&& compare) {
  std::vector<std::optional<Tie>> found(pairs.size());
  tbb::parallel_for(std::size_t(0), pairs.size(), [&](std::size_t i) {
    if (stop_requested()) return;
    auto known = memory.recall(pairs[i].first, pairs[i].second, question_of(pairs[i]));
    found[i] = known ? std::move(*known) : compare(pairs[i]);
  });
  stop_if_requested();
  for (std::size_t i = 0; i < pairs.size(); ++i)
    memory.learn(pairs[i].first, pairs[i].second, question_of(pairs[i]), found[i]);
  return found;
}

class TieGraph {
 public:
  explicit TieGraph(std::size_t frames) : of_frame_(frames) {}
  void add(Tie tie) {
    of_frame_[std::size_t(tie.a)][tie.b] = tie.b_from_a.matrix;
    of_frame_[std::size_t(tie.b)][tie.a] = tie.b_from_a.matrix.inverse();
    ties_[{tie.a, tie.b}] = std::move(tie);
  }
  [[nodiscard]] const std::map<int, Eigen::Matrix3d>& neighbours(int frame) const {
    return of_frame_[std::size_t(frame)];
  }
  [[nodiscard]] std::vector<Tie> ties() && {
    std::vector<Tie> list;
    for (auto& [pair, tie] : ties_) list.push_back(std::move(tie));
    return list;
  }

 private:
  std::vector<std::map<int, Eigen::Matrix3d>> of_frame_;  ///< neighbour -> neighbour_from_frame
  std::map<Pair, Tie> ties_;
};

struct ChainedPair {
  Pair pair;
  Eigen::Matrix3d b_from_a;
};

/// Frames that share a neighbour and should overlap by the chain of the two homographies.
std::vector<ChainedPair> neighbours_of_neighbours(const std::vector<TieFrame>& frames, const TieGraph& graph,
                                                  const std::set<Pair>& tried,
                                                  const PairSearchOptions& options) {
  std::map<Pair, std::pair<double, Eigen::Matrix3d>> best;
  for (int middle = 0; middle < int(frames.size()); ++middle) {
    const auto& around = graph.neighbours(middle);
    for (auto p = around.begin(); p != around.end(); ++p)
      for (auto q = std::next(p); q != around.end(); ++q) {
        const Pair pair{p->first, q->first};
        if (tried.contains(pair) || int(graph.neighbours(pair.first).size()) >= options.most_ties_of_frame ||
            int(graph.neighbours(pair.second).size()) >= options.most_ties_of_frame)
          continue;
        const Eigen::Matrix3d b_from_a = q->second * p->second.inverse();
        const TieFrame& a = frames[std::size_t(pair.first)];
        const TieFrame& b = frames[std::size_t(pair.second)];
        const double overlap =
            std::min(overlap_share(a, b, b_from_a), overlap_share(b, a, b_from_a.inverse()));
        if (overlap < kLeastOverlap) continue;
        auto& entry = best[pair];
        if (overlap > entry.first) entry = {overlap, b_from_a};
      }
  }
  std::vector<ChainedPair> list;
  list.reserve(best.size());
  for (const auto& [pair, entry] : best) list.push_back({pair, entry.second});
  return list;
}

/// Neighbours in time, and all frames of a small flight, are worth a second look.
bool worth_a_second_look(const std::vector<TieFrame>& frames, const Pair& pair,
                         const PairSearchOptions& options) {
  return pair.second - pair.first <= options.neighbours_in_time ||
         int(frames.size()) <= options.all_pairs_up_to;
}

std::optional<Tie> compare_unguided(const std::vector<TieFrame>& frames, const Pair& pair, bool second_look) {
  auto tie = tie_unguided(frames, pair.first, pair.second, Look::first);
  if (tie || !second_look) return tie;
  return tie_unguided(frames, pair.first, pair.second, Look::thorough);
}

std::string guided_question(const Eigen::Matrix3d& b_from_a) {
  return "guided" + std::string(reinterpret_cast<const char*>(b_from_a.data()), 9 * sizeof(double));
}

}  // namespace

std::vector<Tie> search_pairs(const std::vector<TieFrame>& frames,
                              const std::vector<RoughPosition>& positions, const PairSearchOptions& options,
                              PairMemory& memory) {
  std::set<Pair> tried = first_candidates(frames, positions, options);
  TieGraph graph(frames.size());
  const std::vector<Pair> pairs(tried.begin(), tried.end());
  const auto second_look = [&](const Pair& p) { return worth_a_second_look(frames, p, options); };
  for (auto& tie : compare_all(
           pairs, memory, [&](const Pair& p) { return second_look(p) ? "two looks" : "one look"; },
           [&](const Pair& p) { return compare_unguided(frames, p, second_look(p)); }))
    if (tie) graph.add(std::move(*tie));

  for (int round = 0; round < kRounds; ++round) {
    const auto chained = neighbours_of_neighbours(frames, graph, tried, options);
    if (chained.empty()) break;
    std::map<Pair, Eigen::Matrix3d> relation;
    std::vector<Pair> list;
    for (const ChainedPair& c : chained) {
      relation[c.pair] = c.b_from_a;
      list.push_back(c.pair);
      tried.insert(c.pair);
    }
    bool any = false;
    for (auto& tie : compare_all(
             list, memory, [&](const Pair& p) { return guided_question(relation.at(p)); },
             [&](const Pair& p) {
               return tie_guided(frames, p.first, p.second, relation.at(p), kChainRadius);
             }))
      if (tie) {
        graph.add(std::move(*tie));
        any = true;
      }
    if (!any) break;
  }
  return std::move(graph).ties();
}

}  // namespace lookdown::place
