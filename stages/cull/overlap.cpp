#include <algorithm>
#include <cmath>

#include "stages/cull/cull.h"

namespace lookdown::cull {

void settle_by_overlap(FlightRecord& flight, const Options&, RunContext&) {
  for (FrameRecord& frame : flight.frames) {
    if (frame.fault || frame.decision.by_person || frame.decision.verdict != Verdict::check || !frame.placement.placed) continue;
    const bool open = std::any_of(frame.decision.reasons.begin(), frame.decision.reasons.end(),
                                  [](const Reason& r) { return r.word == "too little detail"; });
    if (!open || frame.placement.tie_points < 20) continue;
    // A frame without detail of its own that still ties well to its neighbours shows what they show.
    frame.decision.reasons.push_back({"ties to overlapping frames", static_cast<double>(frame.placement.tie_points), 20, "tie points"});
  }
}

}  // namespace lookdown::cull
