// How sure the adjustment is of each frame's tilt and each camera's focal length.
#pragma once

#include <vector>

#include "stages/place/adjustment/network.h"

namespace lookdown::place {

/// Standard deviations of the direction of straight down in each frame and of the focal lengths: from the
/// inverse of the normal equations with the points eliminated, scaled by the spread of the residuals. Lens
/// parameters count as unknown within their priors.
struct Sureness {
  std::vector<double> tilt_rad;     ///< one a frame
  std::vector<double> focal_share;  ///< one a camera: standard deviation of the focal length as a share of it
};
[[nodiscard]] Sureness sureness_of(const Network&);

}  // namespace lookdown::place
