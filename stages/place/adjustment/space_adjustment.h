// Adjustment in space: a component whose ground is not flat, balanced again with a height for every tie
// point. Goes in: a component balanced on the plane z = 0. Comes out: the same component with poses, cameras
// and points in space, z = 0 the mean plane of its ground; or unchanged, where its tie points do not tell
// heights.
#pragma once

#include "stages/place/adjustment/component_adjustment.h"
#include "stages/place/group.h"

namespace lookdown::place {

/// Decides by the data whether heights are supported and if so adjusts poses, cameras and points in space
/// (sets Group::relief). Supported: much of what the frames share lies off the mean plane by more than its
/// parallax is unsure, and one plane fits it worse. The standard deviation of a height is that of the
/// parallax times height over base times the ground size of a pixel (Kraus, Photogrammetry: Geometry from
/// Images and Laser Scans, 2nd ed., on the normal case of stereo).
void adjust_in_space(const GroupInput&, Group&);

/// Median height of the cameras over z = 0.
[[nodiscard]] double flying_height(const Network&);

}  // namespace lookdown::place
