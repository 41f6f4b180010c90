// The fewest frames that still see all the ground.
#pragma once

#include <vector>

#include "pipeline/record/flight_record.h"

namespace lookdown::cull {

/// Result of a greedy set cover. Greedy picks are at most ln(n) + 1 times the optimum (Chvatal, Math. Oper.
/// Res. 4:233, 1979); `least_possible` bounds the optimum from below, so the gap is known and not only
/// feared.
struct Coverage {
  std::vector<int> chosen;   ///< indices of frames, in the order of picking
  int least_possible = 0;    ///< no set of fewer frames can do it
  double covered_share = 0;  ///< of the ground cells that the candidates see
  int times = 1;  ///< how often each cell is seen, or as often as the candidates see it if that is fewer
};

/// Smallest set of the placed frames with verdict keep that sees each ground cell that they see `times` times
/// (or as often as they can), for at least `share` of the cells.
[[nodiscard]] Coverage fewest_frames(const FlightRecord&, int times, double share = 1.0);

/// Writes into the record which kept frames the smallest set needs: each gets the reason "needed to cover" or
/// "covered by others", and the record a sentence with the number of frames, the share of the ground and the
/// least number possible.
void mark_fewest_frames(FlightRecord&, int times, double share);

/// Whether `mark_fewest_frames` left the frame out.
[[nodiscard]] bool covered_by_others(const Decision&);

}  // namespace lookdown::cull
