// Folders below a flight that hold pictures, but none of the flight.
#pragma once

#include "pipeline/record/flight_record.h"

namespace lookdown::inspect {

/// Takes out of the record what lies in folders below the frames whose pictures name neither camera nor time
/// while the frames above them do: masks, drawings, the truth of rendered flights. One warning a folder says
/// so. What cannot be read stays where anything of its folder does.
void leave_out_other_folders(FlightRecord&);

}  // namespace lookdown::inspect
