// The skyline: where, coming down from the sky, the picture first stops being sky.
#pragma once

#include <vector>

#include "stages/level/lines/edge_profiles.h"

namespace lookdown::level {

/// One point of the skyline a profile at most. Each profile is scaled so that the sky well above the line is
/// 0 and the ground well below it is 1 (medians over neighbouring profiles: glare and vignetting change along
/// the line); the sky's own trend toward the line is followed. A far, hazy strip of land is neither, and
/// belongs to the ground: so the point is where the value first leaves the sky for good, and is then placed
/// on the steepest spot beside it. `EdgeResponse::height` is the contrast of ground and sky there, positive
/// where it has the sign of the line as a whole.
[[nodiscard]] std::vector<EdgeResponse> skyline(const Profiles&);

}  // namespace lookdown::level
