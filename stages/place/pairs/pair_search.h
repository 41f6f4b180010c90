// Which pairs of a flight are worth comparing, and the ties that come of it: neighbours in time, near
// positions, look-alikes; then neighbours of neighbours whose footprints should overlap, until no new tie is
// found.
#pragma once

#include <vector>

#include "stages/place/features/image_features.h"
#include "stages/place/pairs/match_cache.h"

namespace lookdown::place {

struct PairSearchOptions {
  int neighbours_in_time = 3;
  int look_alikes = 12;
  int all_pairs_up_to = 24;     ///< flights this small are compared completely
  int most_ties_of_frame = 18;  ///< beyond this a frame looks for no further neighbours of neighbours
};

/// Position of a frame on the ground where the camera knew it, metres.
struct RoughPosition {
  bool known = false;
  double x_m = 0, y_m = 0;
};

/// All ties, ordered by (a, b). `positions` is empty or has one entry a frame.
[[nodiscard]] std::vector<Tie> search_pairs(const std::vector<TieFrame>&,
                                            const std::vector<RoughPosition>& positions,
                                            const PairSearchOptions&, PairMemory&);

}  // namespace lookdown::place
