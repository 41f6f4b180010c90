// How world positions become pixels of the mosaic that the placement has planned.
#pragma once

#include "pipeline/record/flight_record.h"

namespace lookdown {

/// Of a flight on one plane any frame of the first group tells it. Of one that was adjusted in space it is
/// the geotransform, which stands for pixel corners where mosaic pixels have their centres at integers;
/// without a scale the world's unit is a pixel and its origin the mosaic's upper left corner.
[[nodiscard]] Homography<MosaicPx, Ground> mosaic_from_ground(const FlightRecord&);

}  // namespace lookdown
