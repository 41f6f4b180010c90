// Flat roofs amid flat ground: where placing has found a plane off the ground, which places lie on it.
#pragma once

#include "pipeline/record/flight_record.h"
#include "pipeline/record/run_context.h"
#include "stages/surface/surface.h"

namespace lookdown::surface {

/// Heights over the mosaic of a flight on one plane: that of its raised planes
/// (FlightPlacement::raised_planes) where the frames agree at their height rather than on the ground, 0
/// elsewhere. Between both runs the cheapest border along what the frames show (Boykov & Jolly, ICCV 2001);
/// what nearly fills a rectangle is one. Empty where no roof is sure. The answer does not depend on the
/// number of threads.
[[nodiscard]] HeightGrid flat_roofs(const FlightRecord&, RunContext&);

}  // namespace lookdown::surface
