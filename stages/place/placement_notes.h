// What the record says in words of where the ground lies.
#pragma once

#include "pipeline/record/flight_record.h"
#include "stages/place/group.h"

namespace lookdown::place {

/// Appends one sentence for each of FlightPlacement::raised_planes to the notes: its height and how sure it
/// is.
void note_planes(FlightRecord&);

/// Appends that the ground is not flat, by how much, and that the flight was adjusted in space. Expects the
/// spread and the sigma of heights in the placement already.
void note_relief(const Relief&, FlightRecord&);

}  // namespace lookdown::place
