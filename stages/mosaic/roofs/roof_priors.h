// The level planes that placing found, as roofs on the canvas.
#pragma once

#include <vector>

#include "pipeline/record/flight_record.h"
#include "stages/mosaic/canvas.h"
#include "stages/mosaic/geometry/frame_view.h"
#include "stages/mosaic/geometry/raised_area.h"
#include "stages/mosaic/overview/overview.h"

namespace lookdown::mosaic {

/// Placing outlines the marks that it tied, with bays wherever a roof is bare; here neighbouring parts of one
/// height are joined, bays are filled and the rim moves out to where the frames stop agreeing at that height
/// and agree on the ground. Expects corrected colours in the survey.
[[nodiscard]] std::vector<RaisedArea> placed_roofs(const FlightPlacement&, const Canvas&,
                                                   const std::vector<FrameView>&, const Survey&);

}  // namespace lookdown::mosaic
