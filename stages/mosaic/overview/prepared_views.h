// Frames as the choice and the seams need them: sighted on the canvas, surveyed, in colours made even,
// without what must not be shown.
#pragma once

#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "pipeline/record/flight_record.h"
#include "pipeline/record/run_context.h"
#include "stages/mosaic/canvas.h"
#include "stages/mosaic/geometry/raised_area.h"
#include "stages/mosaic/mosaic.h"
#include "stages/mosaic/radiometry/colour_model.h"
#include "stages/surface/surface.h"

namespace lookdown::mosaic {

/// Views, the survey's frames and colours are parallel to each other; empty where nothing may be shown.
struct PreparedViews {
  std::shared_ptr<const surface::HeightGrid> heights;  ///< what the views look down on; empty: the plane
  std::vector<FrameView> views;
  Survey survey;
  ColourModel colours;
  std::vector<RaisedArea> leaning;  ///< flat roofs that do not stand upright in the heights
  bool some_upright = false;        ///< roofs do
  std::vector<std::string> notes;   ///< for the record
};

/// Looks at every frame, also at those that a person set aside, so that colours, roofs, and what else all
/// frames tell together, do not depend on it; parts of the rig are taken out of use. Over a plane flat roofs
/// whose sides all show become heights, and the frames are looked at again on them. What was found is kept in
/// the cache for as long as nothing but a person's choice to drop frames changes. A frame that cannot be read
/// is a warning in the record.
[[nodiscard]] PreparedViews prepare_views(FlightRecord&, const Canvas&, std::optional<double> plane_height,
                                          const Options&, RunContext&);

/// Leaves out what a person set aside and keeps frames that only fill to the gaps.
void keep_what_is_shown(PreparedViews&);

}  // namespace lookdown::mosaic
