// Whether a lens of which nothing is known beforehand is a fisheye.
#pragma once

#include "stages/place/adjustment/network.h"

namespace lookdown::place {

/// Where a lens whose projection nothing tells bends lines as strongly as a fisheye does, or was taken for
/// one, balances the network with either projection and keeps whichever fits the sightings better. True when
/// a camera changed.
[[nodiscard]] bool choose_projections(Network&);

}  // namespace lookdown::place
