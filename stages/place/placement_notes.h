// What the record says in words of where the ground lies.
#pragma once

#include <cstddef>
#include <vector>

#include "pipeline/record/flight_record.h"
#include "stages/place/group.h"

namespace lookdown::place {

/// Appends one sentence for each of FlightPlacement::raised_planes to the notes: its height and how sure it
/// is.
void note_planes(FlightRecord&);

/// Appends that the ground is not flat, by how much, and that the flight was adjusted in space. Expects the
/// spread and the sigma of heights in the placement already.
void note_relief(const Relief&, FlightRecord&);

/// Warns that so many frames do not tell which way their ground lies.
void note_guessed_tilt(std::size_t frames, FlightRecord&);

/// Warns where the flight falls into several parts: which frames each holds (`parts`: indices of records,
/// largest part first), which one the mosaic shows (`shown`, from 1), and how to see the others.
void note_parts(const std::vector<std::vector<int>>& parts, int shown, FlightRecord&);

}  // namespace lookdown::place
