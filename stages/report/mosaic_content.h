// What the page needs to show the finished mosaic and measure on it, as JSON: tiles, grid, layers.
#pragma once

#include <nlohmann/json_fwd.hpp>

#include "pipeline/record/flight_record.h"
#include "pipeline/record/run_context.h"
#include "stages/report/tiles/tile_pyramid.h"

namespace lookdown::report {

/// Null without a mosaic. Positions are mosaic pixels, centre of the top-left pixel at (0, 0).
[[nodiscard]] nlohmann::json mosaic_content(const FlightRecord&, const TilePyramid&, const RunContext&);

/// Every file and folder of this run that a person may want to open: name, what it is, size where it is
/// known.
[[nodiscard]] nlohmann::json run_files(const FlightRecord&, const RunContext&);

}  // namespace lookdown::report
