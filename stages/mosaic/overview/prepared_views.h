// Frames as the choice and the seams need them: sighted on the canvas, surveyed, in colours made even,
// without what must not be shown.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "pipeline/record/flight_record.h"
#include "pipeline/record/run_context.h"
#include "stages/mosaic/canvas.h"
#include "stages/mosaic/mosaic.h"
#include "stages/mosaic/radiometry/colour_model.h"
#include "stages/surface/surface.h"

namespace lookdown::mosaic {

/// Views, the survey's frames and colours are parallel to each other; empty where nothing may be shown.
struct PreparedViews {
  std::vector<FrameView> views;
  Survey survey;
  ColourModel colours;
  std::vector<std::string> notes;  ///< for the record
};

/// With the frames too that a person set aside, so that colours, and what else all frames tell together, do
/// not depend on it; parts of the rig are taken out of use. `surface` must outlive the views. A frame that
/// cannot be read is a warning in the record.
[[nodiscard]] PreparedViews prepare_views(FlightRecord&, const Canvas&, std::optional<double> plane_height,
                                          const surface::HeightGrid& surface, const Options&, RunContext&);

/// Leaves out what a person set aside and keeps frames that only fill to the gaps.
void keep_what_is_shown(PreparedViews&);

}  // namespace lookdown::mosaic
