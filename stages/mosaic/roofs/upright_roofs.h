// Flat roofs of which all sides are known, as heights that the mosaic looks straight down on.
#pragma once

#include <vector>

#include "pipeline/record/flight_record.h"
#include "stages/mosaic/canvas.h"
#include "stages/mosaic/geometry/frame_view.h"
#include "stages/mosaic/geometry/raised_area.h"
#include "stages/mosaic/overview/overview.h"
#include "stages/surface/surface.h"

namespace lookdown::mosaic {

/// Takes those out of `roofs` that fill a rectangle whose sides all show as steps of brightness once the
/// frames are laid on the roof's height, and returns the rectangles. Where the sides are not known the roof's
/// edge would be cut off or ground would be lifted with it. Expects corrected colours in the survey.
[[nodiscard]] std::vector<RaisedArea> take_rectangles(std::vector<RaisedArea>& roofs,
                                                      const std::vector<FrameView>&, const Survey&);

/// Takes those out of `roofs` that stand upright in the heights already, or are pieces of what does.
void leave_out_upright(const surface::HeightGrid&, const Canvas&, std::vector<RaisedArea>& roofs);

/// Lets the areas (canvas pixels, not below the plane) stand on the heights; an empty grid is first laid over
/// the plane, nodes two pixels of the placement's grid or more apart. Without areas nothing changes.
void add_heights(const std::vector<RaisedArea>&, const FlightPlacement&, const Canvas&, surface::HeightGrid&);

}  // namespace lookdown::mosaic
