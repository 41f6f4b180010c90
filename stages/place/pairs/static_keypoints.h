// Spots that ride along with the camera: its line, a part of its rig, dirt on the lens. They show alike at
// the same place of frame after frame, and would tie frames that share no ground.
#pragma once

#include <vector>

#include "stages/place/features/image_features.h"

namespace lookdown::place {

/// Takes such spots out of every frame. `camera_of_frame` tells which frames one camera took. A frame most of
/// whose spots come again, as from a camera on a stand, keeps them all: then it is the ground that stands
/// still.
void drop_riding_spots(std::vector<TieFrame>&, const std::vector<int>& camera_of_frame);

}  // namespace lookdown::place
