// Tilt from things built at right angles: level edges in two directions (kerbs, roofs, beds, boardwalks) and
// upright ones (walls, poles).
#pragma once

#include <optional>
#include <vector>

#include "pipeline/record/flight_record.h"
#include "stages/level/verticals/straight_edges.h"

namespace lookdown::level {

/// Straight down of a frame that looks mostly down, from the rotation under which most edge length runs along
/// one of three directions at right angles, one of them upright (Coughlan & Yuille, Neural Computation
/// 15:1063, 2003, with segments). Empty unless nearly all edge length agrees, both level families are seen,
/// no other tilt explains as much, and leaving out any part of the picture moves the answer by less than a
/// degree: buildings that stand askew and sloping roofs each pull their own way. Tilt::from is "parallels",
/// or "verticals" where upright edges carry a third of the fit.
[[nodiscard]] std::optional<Tilt> tilt_from_manhattan_directions(const std::vector<StraightEdge>&);

}  // namespace lookdown::level
