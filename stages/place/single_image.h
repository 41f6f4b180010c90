// When no two frames can be joined, the best frame alone is laid onto the ground, as far as it is known how
// it hung.
#pragma once

#include "pipeline/record/flight_record.h"
#include "stages/place/place.h"

namespace lookdown::place {

/// Lays one frame (kept before checked, straight down before tilted, sharp before soft) onto a canvas of its
/// own and warns what that rests on: its tilt when level knows it, else the assumption that it looked
/// straight down; metres only with Options::height_m. Frames that look farther from straight down than 60
/// degrees, and flights without a usable frame, leave the record as it is.
void place_lone_frame(FlightRecord&, const Options&);

}  // namespace lookdown::place
