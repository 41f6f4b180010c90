#include "stages/place/pairs/unregistered_images.h"

#include <algorithm>
#include <cstdlib>
#include <map>
#include <opencv2/core.hpp>
#include <set>

#include "stages/place/pairs/affine_simulation.h"

namespace lookdown::place {
namespace {

constexpr std::size_t kFewFrames = 6;     ///< a flight this small is compared completely
constexpr std::size_t kHandful = 3;       ///< and one this small with views simulated on both sides
constexpr std::size_t kMostStubborn = 6;  ///< each costs seconds
constexpr int kNeighbours = 2;            ///< on larger flights: this many frames before and after an oblique
constexpr int kLongSidePx = 1400;

std::set<int> tied_frames(const std::vector<Tie>& ties) {
  std::set<int> tied;
  for (const Tie& t : ties) {
    tied.insert(t.a);
    tied.insert(t.b);
  }
  return tied;
}

std::vector<std::pair<int, int>> worth_the_cost(const FlightRecord& flight,
                                                const std::vector<TieFrame>& frames,
                                                const std::vector<Tie>& ties) {
  const std::set<int> tied = tied_frames(ties);
  const bool few = frames.size() <= kFewFrames;
  std::set<std::pair<int, int>> pairs;
  std::size_t stubborn = 0;
  for (int i = 0; i < int(frames.size()); ++i) {
    const TieFrame& frame = frames[std::size_t(i)];
    const bool oblique = flight.frames[std::size_t(frame.record)].decision.view == View::oblique;
    if (tied.contains(i) || frame.bridge_only || !(few || oblique) || stubborn == kMostStubborn) continue;
    ++stubborn;
    for (int j = 0; j < int(frames.size()); ++j)
      if (j != i && (few || std::abs(i - j) <= kNeighbours) && !frames[std::size_t(j)].bridge_only)
        pairs.insert({std::min(i, j), std::max(i, j)});
  }
  return {pairs.begin(), pairs.end()};
}

}  // namespace

void tie_stubborn_frames(const FlightRecord& flight, Participants& chosen, std::vector<Tie>& ties,
                         RunContext& context) {
  std::map<int, TiltedViews> views;
  const auto views_of = [&](int i) -> const TiltedViews& {
    if (!views.contains(i)) {
      const FrameSource& source = flight.frames[std::size_t(chosen.frames[std::size_t(i)].record)].source;
      FramePixels pixels(context.reader, source);
      try {
        views[i] =
            tilted_views(pixels.grey(pixels.reduction_for(kLongSidePx)), source.width_px, source.height_px);
      } catch (const FrameFault&) {
        views[i] = {};  // the frame has lost its pixels since its spots were found; it stays untied
      }
    }
    return views[i];
  };
  for (const auto& [a, b] : worth_the_cost(flight, chosen.frames, ties)) {
    stop_if_requested();
    if (views_of(a).empty() || views_of(b).empty()) continue;
    auto tie = tie_tilted(chosen.frames, a, views_of(a), b, views_of(b), Simulate::one_side);
    if (!tie && chosen.frames.size() <= kHandful)
      tie = tie_tilted(chosen.frames, a, views_of(a), b, views_of(b), Simulate::both_sides);
    if (tie) ties.push_back(std::move(*tie));
  }
  std::sort(ties.begin(), ties.end(),
            [](const Tie& p, const Tie& q) { return std::pair(p.a, p.b) < std::pair(q.a, q.b); });
}

}  // namespace lookdown::place
