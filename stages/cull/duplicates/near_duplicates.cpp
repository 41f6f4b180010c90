#include "stages/cull/duplicates/near_duplicates.h"

#include <cmath>
#include <map>
#include <numeric>

#include "stages/cull/duplicates/thumbnail.h"

namespace lookdown::cull {
namespace {

// The same picture again: nearly the same brightness pattern, moved by less than a tenth of the frame. Frames
// of a walked line overlap by 60 to 80 %, which is a shift of 20 % and more.
constexpr double kLeastCorrelation = 0.9;
constexpr double kLargestShiftShare = 0.1;
constexpr double kRepeatTurnDeg = 10;
// Hovering is seen in frames that follow each other; a kite that comes back to a place an hour later gives
// new light.
constexpr int kFramesAhead = 12;
constexpr double kSecondsAhead = 180;

bool near_in_time(const FrameRecord& a, const FrameRecord& b) {
  if (!a.info.taken_at_s || !b.info.taken_at_s) return true;
  return std::abs(*a.info.taken_at_s - *b.info.taken_at_s) <= kSecondsAhead;
}

bool same_picture(const Thumbnail& a, const Thumbnail& b) {
  const Likeness likeness = compare(a, b);
  return likeness.correlation >= kLeastCorrelation && likeness.shift_share <= kLargestShiftShare &&
         std::abs(likeness.turn_deg) <= kRepeatTurnDeg;
}

int root(std::vector<int>& parent, int i) {
  while (parent[i] != i) i = parent[i] = parent[parent[i]];
  return i;
}

}  // namespace

std::vector<int> group_near_duplicates(const std::vector<FrameRecord>& frames) {
  const int count = static_cast<int>(frames.size());
  std::vector<std::optional<Thumbnail>> pictures(count);
  for (int i = 0; i < count; ++i)
    if (frames[i].sharpness) pictures[i] = read_thumbnail(frames[i].sharpness->signature);

  std::vector<int> parent(count);
  std::iota(parent.begin(), parent.end(), 0);
  for (int i = 0; i < count; ++i) {
    if (!pictures[i]) continue;
    for (int j = i + 1; j < std::min(count, i + 1 + kFramesAhead); ++j) {
      if (!pictures[j] || frames[i].info.camera_id != frames[j].info.camera_id) continue;
      if (!near_in_time(frames[i], frames[j]) || !same_picture(*pictures[i], *pictures[j])) continue;
      const int a = root(parent, i), b = root(parent, j);
      parent[std::max(a, b)] = std::min(a, b);
    }
  }

  std::map<int, int> members;
  for (int i = 0; i < count; ++i) ++members[root(parent, i)];
  std::vector<int> group(count, -1);
  for (int i = 0; i < count; ++i)
    if (const int first = root(parent, i); members[first] > 1) group[i] = first;
  return group;
}

}  // namespace lookdown::cull
