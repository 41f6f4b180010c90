// The water's edge on the mosaic, from the masks of the frames that look down on it.
#pragma once

#include <filesystem>
#include <vector>

#include "pipeline/record/flight_record.h"

namespace lookdown::report {

using MosaicOutline = std::vector<Point2<MosaicPx>>;

/// Outlines of what at least half of the frames that see it call water, on the grid as placed; largest first.
/// Dropped frames have no say.
[[nodiscard]] std::vector<MosaicOutline> water_outlines(const FlightRecord&,
                                                        const std::filesystem::path& out);

}  // namespace lookdown::report
