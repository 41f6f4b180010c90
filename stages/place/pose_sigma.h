// How sure the adjustment is of each camera's tilt.
#pragma once

#include <vector>

#include "stages/place/network.h"

namespace lookdown::place {

/// Standard deviation (radians) of the direction of straight down in each frame: from the inverse of the
/// normal equations with the points eliminated, scaled by the spread of the residuals. Lens parameters count
/// as unknown within their priors.
[[nodiscard]] std::vector<double> tilt_sigmas(const Network&);

}  // namespace lookdown::place
