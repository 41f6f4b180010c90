// What a frame looks at: straight down, slantwise, at the horizon, or something else.
#pragma once

#include <vector>

#include "pipeline/record/flight_record.h"
#include "stages/cull/cull.h"

namespace lookdown::cull {

struct ViewFinding {
  View view = View::nadir;
  std::vector<Reason> reasons;  ///< what spoke for it, when it is not nadir
};

/// View of every frame, in the order of the record. Needs horizon, or else a glance at it, tilt and
/// signature; a frame for which none of them says otherwise is taken as nadir, unless it is unlike all
/// others: that is what a camera sees by the way, or before the start and after the landing.
[[nodiscard]] std::vector<ViewFinding> find_views(const std::vector<FrameRecord>& frames,
                                                  const CoarseHorizons&);

/// Placed frames that were taken as nadir for want of a known tilt, and whose place tells that they look
/// slantwise, become oblique.
void tell_obliques_by_placement(FlightRecord&);

}  // namespace lookdown::cull
