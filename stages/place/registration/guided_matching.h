// Ties looked for again once it is roughly known where every frame lies: all overlapping pairs, near the
// expected places, with the lens distortion taken out.
#pragma once

#include <vector>

#include "stages/place/group.h"

namespace lookdown::place {

struct GeometricTieOptions {
  double radius = 14;    ///< pixels of the searched copy around the expected place
  double tolerance = 3;  ///< pixels of the searched copy from the homography
  double least_overlap = 0.1;
  int most_of_frame = 16;  ///< the best-overlapping neighbours of each frame
};

/// Ties among the group's frames, ordered by (a, b). Pairs that are tied already (`known`) are looked at
/// again however little they overlap: two strips may touch in one corner.
[[nodiscard]] std::vector<Tie> geometric_ties(const std::vector<TieFrame>&, const Group&,
                                              const std::vector<Tie>& known, const GeometricTieOptions&);

/// Frame b from frame a by way of the plane z = 0, undistorted pixels.
[[nodiscard]] Eigen::Matrix3d by_way_of_ground(const Pose& a, const Camera& camera_a, const Pose& b,
                                               const Camera& camera_b);

}  // namespace lookdown::place
