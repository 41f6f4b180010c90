// Roofs on the canvas and those that the surface lets stand upright.
#pragma once

#include <vector>

#include "pipeline/record/flight_record.h"
#include "stages/mosaic/canvas.h"
#include "stages/mosaic/geometry/raised_area.h"
#include "stages/surface/surface.h"

namespace lookdown::mosaic {

/// The roof as placing would have told it.
[[nodiscard]] RaisedPlane as_plane(const RaisedArea&, const FlightPlacement&, const Canvas&);

/// Takes those out of `roofs` that stand upright in the heights, and pieces of the same height beside them:
/// they would be joined as if they still leaned. An empty grid changes nothing.
void leave_out_upright(const surface::HeightGrid&, const FlightPlacement&, const Canvas&,
                       std::vector<RaisedArea>& roofs);

}  // namespace lookdown::mosaic
