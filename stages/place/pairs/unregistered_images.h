// The few frames that the search left without a tie, looked at again with simulated tilts.
#pragma once

#include <vector>

#include "pipeline/record/run_context.h"
#include "stages/place/image_selection.h"

namespace lookdown::place {

/// Adds ties of untied frames: on flights of a few frames against all others, on larger ones for obliques
/// against their neighbours in time. Frames gain the spots that agreed.
void tie_stubborn_frames(const FlightRecord&, Participants&, std::vector<Tie>&, RunContext&);

}  // namespace lookdown::place
