// The plane that a single frame's ground lies on best: of a flight that was adjusted in space each frame has
// one of its own, and by it a homography can carry the frame's pixels to about where they are.
#pragma once

#include <vector>

#include "stages/place/adjustment/network.h"

namespace lookdown::place {

/// z = along_x x + along_y y + height, world units.
struct GroundFacet {
  double along_x = 0, along_y = 0, height = 0;
};

/// By least squares with a robust loss of how far the frame's points would be misplaced on the map: a height
/// that is off by dz misplaces a point by dz tan(angle off straight down). z = 0 where there are too few
/// points.
[[nodiscard]] GroundFacet facet_under(const Network&, int frame, const std::vector<const Sighting*>&);

/// How far the lowest of the frame's points lie below its facet, one in twenty left out as mistaken; world
/// units, 0 where there are few.
[[nodiscard]] double depth_below(const GroundFacet&, const Network&, const std::vector<const Sighting*>&);

/// Where undistorted pixels lie on the map, were the ground that facet.
[[nodiscard]] Homography<Ground, UndistortedPx> ground_from_frame(const Pose&, const Camera&,
                                                                  const GroundFacet&);

}  // namespace lookdown::place
