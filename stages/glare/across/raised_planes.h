// Roofs and decks that placing has found above the ground: water lies level and low, so they hold none.
// Private to the stage.
#pragma once

#include <opencv2/core.hpp>

#include "pipeline/record/flight_record.h"
#include "stages/glare/across/view_comparison.h"

namespace lookdown::glare {

/// CV_8UC1 of `size`, stretched over the frame as stored: 255 where the frame shows a raised plane of the
/// placement, or the ground and walls below its edges. Only frames of the first group have such planes.
[[nodiscard]] cv::Mat raised_planes_in(const FlightPlacement&, const PlacedCamera&, cv::Size size);

}  // namespace lookdown::glare
