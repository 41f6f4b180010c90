// A first guess of where the frames of one group lie: every camera looks straight down, ties turn, scale and
// shift them against each other, and all of it is balanced over the whole group at once, so that no chain of
// homographies can run away.
#pragma once

#include <vector>

#include "pipeline/geometry/pose.h"
#include "stages/place/features/image_features.h"

namespace lookdown::place {

/// Poses of the frames `members` (sorted indices) over the plane z = 0, one a member. One world unit is one
/// pixel of the frame with the most matches. `ties` may hold others than the group's; they are passed over.
[[nodiscard]] std::vector<Pose> first_layout(const std::vector<TieFrame>&, const std::vector<Tie>& ties,
                                             const std::vector<int>& members);

}  // namespace lookdown::place
