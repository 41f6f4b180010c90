// Pictures for the map: the mosaic's preview and which frame each spot came from.
#pragma once

#include <string>
#include <vector>

#include "pipeline/record/flight_record.h"
#include "pipeline/record/run_context.h"
#include "stages/report/report.h"

namespace lookdown::report {

/// JPEG of the preview; empty when there is no mosaic.
[[nodiscard]] std::string mosaic_picture(const FlightRecord&, const Options&, const RunContext&);

/// PNG at a reduced size whose red is the low and green the high byte of the source number, blue 255 where
/// there is one and 0 where no frame saw the ground; empty when there is no mosaic. Source numbers count the
/// placed frames in the order of the record.
[[nodiscard]] std::string sources_picture(const FlightRecord&, const RunContext&);

/// PNG with a see-through ground where glare is left in the mosaic; empty when there is none.
[[nodiscard]] std::string glare_picture(const FlightRecord&, const RunContext&);

/// PNG of the heights as light falls on them, see-through where none are known; empty when the flight told no
/// heights.
[[nodiscard]] std::string surface_picture(const FlightRecord&, const RunContext&);

/// Record index of each source number.
[[nodiscard]] std::vector<int> source_frames(const FlightRecord&);

}  // namespace lookdown::report
