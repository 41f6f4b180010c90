// Obliques laid onto the ground: which frames, and by what.
#pragma once

#include <string>

#include "pipeline/record/flight_record.h"
#include "pipeline/record/run_context.h"
#include "stages/rectify/rectify.h"

namespace lookdown {

/// Writes rectified/NAME.tif with its world file for every oblique or horizon frame that is not dropped: by
/// its pose where it is placed with the first group, in the units of the mosaic; else by its tilt and
/// `options.height_m`, in metres, x and y counted from the point below the camera, y the way it looks. Frames
/// of other groups lie in units of their own and are left out. What is left out, or cannot be written, is a
/// warning in the record.
void write_rectified_obliques(FlightRecord&, const rectify::Options&, RunContext&);

/// Frames that a person marked in `options.ground_file` are rectified by their marks, whatever else is known
/// of them. Throws as rectify::read_ground_signs.
void write_marked_ground(FlightRecord&, const rectify::Options&, RunContext&);

}  // namespace lookdown
