// Whether wide lenses of which nothing is known are fisheyes, from how well neighbouring frames agree: a
// homography carries over what a rectilinear lens shows, and so the frames of a fisheye agree in part only.
#pragma once

#include <vector>

#include "stages/place/adjustment/network.h"
#include "stages/place/features/image_features.h"

namespace lookdown::place {

/// Gives cameras, and the frames taken with them, the projection by which more spots of neighbouring frames
/// agree. Asked only where neither a calibration nor the lens database tells the lens, and it is wide or of
/// unknown focal length; the adjustment decides anew (`choose_projections`).
void guess_projections(std::vector<TieFrame>&, const std::vector<int>& camera_of_frame,
                       std::vector<KnownCamera>&);

}  // namespace lookdown::place
