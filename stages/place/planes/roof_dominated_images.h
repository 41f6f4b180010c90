// Frames that a roof fills: what their neighbours share with them is the roof, which the first rounds take
// for ground.
#pragma once

#include <vector>

#include "stages/place/group.h"
#include "stages/place/pairs/tie_points.h"

namespace lookdown::place {

/// True for the members that enough sightings on the ground hold.
[[nodiscard]] std::vector<bool> held_by_ground(const Group&);

/// Takes points out of the network's ground that others have shown to stand off it. `raised`: tie points off
/// the plane.
void drop_raised_ground(const std::vector<TieFrame>&, const std::vector<TiePoint>& raised, Group&);

/// Gives the members that are not in `held` a pose by the tie points whose place and height the others know,
/// and marks them there. Returns how many.
int resect_over_roofs(const std::vector<TieFrame>&, const std::vector<Tie>& ties,
                      const std::vector<TiePoint>& raised, Group&, std::vector<bool>& held);

}  // namespace lookdown::place
