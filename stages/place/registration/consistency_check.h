// Frames that match but contradict: what they share with some neighbours puts them elsewhere than what they
// share with others, as a picture put together from two places does.
#pragma once

#include <vector>

#include "stages/place/group.h"

namespace lookdown::place {

/// Places in the group of held members of whose first matches, with held members, too few agree with the
/// poses, be it on the ground or off it. The worst comes first and is left out before its neighbours are
/// judged.
[[nodiscard]] std::vector<int> contradicting_members(const std::vector<TieFrame>&,
                                                     const std::vector<Tie>& ties, const Group&);

}  // namespace lookdown::place
