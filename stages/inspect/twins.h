// Shots that a camera saved twice, as camera raw and as JPEG.
#pragma once

#include "pipeline/record/flight_record.h"

namespace lookdown::inspect {

/// Makes one frame of each such pair: same folder, same name but for the ending, times not known to differ.
/// The other file's name is kept as `twin_file`. The camera raw is the frame unless `jpeg_is_the_frame` or it
/// cannot be read; how many pairs there were becomes a note of the record.
void join_twins(FlightRecord&, bool jpeg_is_the_frame);

}  // namespace lookdown::inspect
