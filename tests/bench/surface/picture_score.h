// What a surface and a mosaic are held against beside heights.
#pragma once

#include <filesystem>

#include "pipeline/record/flight_record.h"

namespace lookdown::bench {

/// Prints how far the step from roof to ground lies off the true eaves (truth.json of paint_flight in
/// `folder`, surface_truth.tif), square to them and in pixels of ground: on the whole and about each side's
/// own mean.
void score_eaves(const FlightRecord&, const std::filesystem::path& folder, const std::filesystem::path& out);

/// Prints the share of ground seen by a placed frame of the first group, kept or dropped for blur alone, that
/// mosaic_sources.tif in `out` shows.
void score_coverage(const FlightRecord&, const std::filesystem::path& out);

}  // namespace lookdown::bench
