// From sightings to the ground by the present poses, and poses of frames from what their neighbours say of
// the ground.
#pragma once

#include <Eigen/Core>
#include <optional>
#include <vector>

#include "stages/place/group.h"
#include "stages/place/registration/resection.h"

namespace lookdown::place {

/// Where the ray of a sighting meets the plane z = 0; empty for rays within 3 degrees of the horizontal.
[[nodiscard]] std::optional<Eigen::Vector3d> on_plane(const Network&, const Sighting&);

/// What the trusted neighbours of members[place] say of where its spots lie on the ground, by the group's
/// ties in `ties`.
[[nodiscard]] std::vector<GroundSight> ground_from_neighbours(const std::vector<TieFrame>&,
                                                              const std::vector<Tie>& ties, const Group&,
                                                              int place, const std::vector<bool>& trusted);

/// Poses for a group whose frames do not look straight down: one start for each plane direction that the
/// homography of the busiest frame with its best neighbour allows (cv::decomposeHomographyMat, Malis &
/// Vargas, INRIA RR-6303, 2007), the other frames resected in turn. Frames that cannot be reached keep the
/// pose they have.
[[nodiscard]] std::vector<std::vector<Pose>> oblique_starts(const std::vector<TieFrame>&,
                                                            const std::vector<Tie>& ties, const Group&);

}  // namespace lookdown::place
