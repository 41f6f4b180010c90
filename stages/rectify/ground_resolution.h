// How much ground a pixel of the frame covers under a homography.
#pragma once

#include "pipeline/geometry/pixel_spaces.h"

namespace lookdown::rectify {

/// Larger and smaller extent on the ground of one undistorted pixel: the singular values of the homography's
/// Jacobian.
struct PixelFootprint {
  double longest = 0;
  double shortest = 0;
};
[[nodiscard]] PixelFootprint footprint(const Homography<Ground, UndistortedPx>&,
                                       const Point2<UndistortedPx>&);

}  // namespace lookdown::rectify
