// Flat roofs amid flat ground: where a plane off the ground is known, which places lie on it.
#pragma once

#include <vector>

#include "pipeline/record/flight_record.h"
#include "pipeline/record/run_context.h"
#include "stages/surface/surface.h"

namespace lookdown::surface {

/// Heights over the mosaic of a flight on one plane: those of the planes, given as in
/// FlightPlacement::raised_planes, within the rectangles that their roofs fill, 0 elsewhere. A first border
/// is the cheapest cut between what the frames agree on at either height (Boykov & Jolly, ICCV 2001); from
/// there, and from the marks alone, rectangles move to where brightness changes along all four sides in every
/// frame that is laid on the roof's height: edges of walls and shadows lie elsewhere in each. What shows no
/// such sides is left out; empty when all is. The answer does not depend on the number of threads.
[[nodiscard]] HeightGrid flat_roofs(const FlightRecord&, const std::vector<RaisedPlane>& planes, RunContext&);

}  // namespace lookdown::surface
