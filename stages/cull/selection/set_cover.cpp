#include "stages/cull/selection/set_cover.h"

#include <algorithm>
#include <cmath>
#include <limits>

namespace lookdown::cull {
namespace {

constexpr int kCellsLongSide = 400;
constexpr int kOutlineSteps = 8;
constexpr const char* kNeeded = "needed to cover";
constexpr const char* kCovered = "covered by others";

struct Candidate {
  int frame = 0;
  std::vector<int> cells;
};

using Outline = std::vector<Point2<MosaicPx>>;

/// Outline of a frame on the mosaic, sides bent by the lens; empty when a part of it lies at or beyond the
/// horizon.
Outline outline(const FrameRecord& frame) {
  const FramePlacement& placed = frame.placement;
  const double w = frame.source.width_px - 1, h = frame.source.height_px - 1;
  const double corners[5][2] = {{0, 0}, {w, 0}, {w, h}, {0, h}, {0, 0}};
  Outline out;
  const double middle_depth = placed.mosaic_from_frame.depth(placed.camera.undistort({w / 2, h / 2}));
  for (int side = 0; side < 4; ++side)
    for (int step = 0; step < kOutlineSteps; ++step) {
      const double t = static_cast<double>(step) / kOutlineSteps;
      const Point2<StoredPx> p{corners[side][0] + t * (corners[side + 1][0] - corners[side][0]),
                               corners[side][1] + t * (corners[side + 1][1] - corners[side][1])};
      const auto q = placed.camera.undistort(p);
      if (placed.mosaic_from_frame.depth(q) * middle_depth <= 0) return {};
      out.push_back(placed.mosaic_from_frame * q);
    }
  return out;
}

struct Grid {
  double x0 = 0, y0 = 0, step = 1;
  int columns = 0, rows = 0;
};

Grid grid_over(const std::vector<Outline>& outlines) {
  double x0 = std::numeric_limits<double>::max(), y0 = x0, x1 = -x0, y1 = -x0;
  for (const Outline& o : outlines)
    for (const auto& p : o)
      x0 = std::min(x0, p.x), x1 = std::max(x1, p.x), y0 = std::min(y0, p.y), y1 = std::max(y1, p.y);
  Grid grid;
  if (x1 <= x0 || y1 <= y0) return grid;
  grid.x0 = x0, grid.y0 = y0;
  grid.step = std::max(x1 - x0, y1 - y0) / kCellsLongSide;
  grid.columns = static_cast<int>(std::ceil((x1 - x0) / grid.step));
  grid.rows = static_cast<int>(std::ceil((y1 - y0) / grid.step));
  return grid;
}

/// Cells whose centre lies inside the outline (even-odd rule, row by row).
std::vector<int> cells_inside(const Outline& o, const Grid& grid) {
  std::vector<int> cells;
  for (int row = 0; row < grid.rows; ++row) {
    const double y = grid.y0 + (row + 0.5) * grid.step;
    std::vector<double> crossings;
    for (std::size_t i = 0; i < o.size(); ++i) {
      const auto &a = o[i], &b = o[(i + 1) % o.size()];
      if ((a.y <= y) == (b.y <= y)) continue;
      crossings.push_back(a.x + (y - a.y) / (b.y - a.y) * (b.x - a.x));
    }
    std::sort(crossings.begin(), crossings.end());
    for (std::size_t i = 0; i + 1 < crossings.size(); i += 2) {
      const int first = std::max(0, static_cast<int>(std::ceil((crossings[i] - grid.x0) / grid.step - 0.5)));
      const int last = std::min(grid.columns - 1,
                                static_cast<int>(std::floor((crossings[i + 1] - grid.x0) / grid.step - 0.5)));
      for (int column = first; column <= last; ++column) cells.push_back(row * grid.columns + column);
    }
  }
  return cells;
}

/// Lower bound of any cover: cells picked so that no frame sees two of them need a frame each (times their
/// need).
int independent_cells_bound(const std::vector<Candidate>& candidates, const std::vector<int>& need) {
  std::vector<std::vector<int>> seen_by(need.size());
  for (std::size_t c = 0; c < candidates.size(); ++c)
    for (int cell : candidates[c].cells) seen_by[cell].push_back(static_cast<int>(c));
  std::vector<int> order;
  for (std::size_t cell = 0; cell < need.size(); ++cell)
    if (need[cell] > 0) order.push_back(static_cast<int>(cell));
  std::stable_sort(order.begin(), order.end(),
                   [&](int a, int b) { return seen_by[a].size() < seen_by[b].size(); });
  std::vector<bool> used(candidates.size(), false);
  int bound = 0;
  for (int cell : order) {
    const auto& by = seen_by[cell];
    if (std::any_of(by.begin(), by.end(), [&](int c) { return used[c]; })) continue;
    for (int c : by) used[c] = true;
    bound += need[cell];
  }
  return bound;
}

}  // namespace

Coverage fewest_frames(const FlightRecord& flight, int times, double share) {
  std::vector<Candidate> candidates;
  std::vector<Outline> outlines;
  for (std::size_t i = 0; i < flight.frames.size(); ++i) {
    const FrameRecord& frame = flight.frames[i];
    if (!frame.placement.placed || frame.placement.group != 0 || frame.decision.verdict != Verdict::keep)
      continue;
    Outline o = outline(frame);
    if (o.empty()) continue;
    candidates.push_back({static_cast<int>(i), {}});
    outlines.push_back(std::move(o));
  }
  Coverage out;
  out.times = times;
  const Grid grid = grid_over(outlines);
  if (grid.columns == 0) return out;
  std::vector<int> seen(static_cast<std::size_t>(grid.columns) * grid.rows, 0);
  for (std::size_t c = 0; c < candidates.size(); ++c) {
    candidates[c].cells = cells_inside(outlines[c], grid);
    for (int cell : candidates[c].cells) ++seen[cell];
  }
  std::vector<int> need(seen.size());
  double wanted = 0;
  for (std::size_t cell = 0; cell < seen.size(); ++cell) wanted += need[cell] = std::min(times, seen[cell]);
  out.least_possible = share >= 1 ? independent_cells_bound(candidates, need) : 0;

  double met = 0;
  std::vector<bool> taken(candidates.size(), false);
  while (met < share * wanted) {
    int best = -1, best_gain = 0;
    for (std::size_t c = 0; c < candidates.size(); ++c) {
      if (taken[c]) continue;
      const auto& cells = candidates[c].cells;
      const int gain = static_cast<int>(
          std::count_if(cells.begin(), cells.end(), [&](int cell) { return need[cell] > 0; }));
      if (gain > best_gain) best_gain = gain, best = static_cast<int>(c);
    }
    if (best < 0) break;
    taken[best] = true;
    out.chosen.push_back(candidates[best].frame);
    for (int cell : candidates[best].cells)
      if (need[cell] > 0) --need[cell], met += 1;
  }
  out.covered_share = wanted > 0 ? met / wanted : 0;
  return out;
}

void mark_fewest_frames(FlightRecord& flight, int times, double share) {
  const Coverage coverage = fewest_frames(flight, times, share);
  if (coverage.chosen.empty()) {
    flight.warnings.push_back("No set of frames that cover the ground was chosen: no kept frame is placed.");
    return;
  }
  int kept = 0;
  for (std::size_t i = 0; i < flight.frames.size(); ++i) {
    FrameRecord& frame = flight.frames[i];
    std::erase_if(frame.decision.reasons,
                  [](const Reason& r) { return r.word == kNeeded || r.word == kCovered; });
    if (frame.decision.verdict != Verdict::keep || !frame.placement.placed || frame.placement.group != 0)
      continue;
    ++kept;
    const auto at = std::find(coverage.chosen.begin(), coverage.chosen.end(), static_cast<int>(i));
    if (at != coverage.chosen.end())
      frame.decision.reasons.push_back({kNeeded, static_cast<double>(at - coverage.chosen.begin() + 1),
                                        std::nullopt, "in the order of picking"});
    else
      frame.decision.reasons.push_back({kCovered, std::nullopt, std::nullopt, ""});
  }
  std::string sentence =
      std::to_string(coverage.chosen.size()) + " of " + std::to_string(kept) + " kept frames see ";
  sentence += share >= 1 ? "all the ground"
                         : std::to_string(static_cast<int>(std::lround(100 * coverage.covered_share))) +
                               " % of the ground";
  sentence +=
      " that all of them see, " +
      std::string(times == 1 ? "at least once" : std::to_string(times) + " times wherever all of them do");
  if (coverage.least_possible > 0)
    sentence += "; no set of fewer than " + std::to_string(coverage.least_possible) + " can";
  flight.warnings.push_back(sentence + ".");
}

bool covered_by_others(const Decision& decision) {
  return std::any_of(decision.reasons.begin(), decision.reasons.end(),
                     [](const Reason& r) { return r.word == kCovered; });
}

}  // namespace lookdown::cull
