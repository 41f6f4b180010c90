// What is level, of a component that was adjusted in space: its ground tells it no better than by lying about
// level itself, so the cameras are asked too.
#pragma once

#include "stages/place/adjustment/network.h"

namespace lookdown::place {

/// Robust mean plane z = a x + b y + c of the points, as (a, b, c).
[[nodiscard]] Eigen::Vector3d mean_plane(const Network&);

/// Turns the network so that its mean plane becomes z = 0.
void lay_on_mean_plane(Network&);

/// Turns a network that lies on its mean plane to what is level by all that tells it, each by its spread: the
/// ground, which lies about level; the cameras' known tilts, or that they hang about straight down; and the
/// plane that they flew in, as far as they kept to one. z = 0 becomes the mean height. Points that were
/// pulled to z = 0 are free after it.
void level(Network&);

}  // namespace lookdown::place
