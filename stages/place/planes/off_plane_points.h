// Tie points that stand off the ground plane, such as the marks on a roof: spots matched along epipolar lines
// once the poses are known, chained over the frames, each with a height of its own.
#pragma once

#include <Eigen/Core>
#include <optional>
#include <vector>

#include "stages/place/group.h"
#include "stages/place/pairs/tie_points.h"

namespace lookdown::place {

/// Where the rays of a tie point meet.
struct RaisedPoint {
  Eigen::Vector3d position = Eigen::Vector3d::Zero();  ///< world units of the group
  double height_sigma = 0;                             ///< by the spots' spread and the angles between rays
  std::vector<Sight> sights;                           ///< those that agree; frame: index of TieFrames
};

/// Tie points off the plane that the group's poses explain and its ties do not: of frames that the ties join,
/// with enough base between them to tell heights. Expects the members' spots undistorted by the group's
/// cameras. `held`: members whose poses can be relied on; heights by way of a frame that lies wrongly would
/// confirm it.
[[nodiscard]] std::vector<TiePoint> raised_tie_points(const std::vector<TieFrame>&, const Group&,
                                                      const std::vector<bool>& held);

/// Heights between which points are looked for, as shares of the lower camera's height.
struct HeightRange {
  double lowest = -0.25, highest = 0.45;
};

/// Ties of held members whose poses are roughly known, on the ground and off it alike: spots matched within
/// `width` pixels of the searched copy of the epipolar line. Of frames that the group's ties join.
[[nodiscard]] std::vector<Tie> epipolar_ties(const std::vector<TieFrame>&, const Group&,
                                             const std::vector<bool>& held, const HeightRange&, double width);

/// The point nearest to its rays; sights that miss it by more than `tolerance` pixels of the searched copy
/// are left out. Empty when fewer than two agree.
[[nodiscard]] std::optional<RaisedPoint> meet(const std::vector<TieFrame>&, const Group&, const TiePoint&,
                                              double tolerance);

/// Where the ray of a sight meets z = 0.
[[nodiscard]] Eigen::Vector3d on_mean_plane(const std::vector<TieFrame>&, const Group&, const Sight&);

/// The point nearest to its rays; sights that miss it are left out. Empty when fewer than two agree, or
/// when the height is less sure than three of its standard deviations.
[[nodiscard]] std::optional<RaisedPoint> intersect(const std::vector<TieFrame>&, const Group&,
                                                   const TiePoint&);

/// Gives the network points of free height for `raised`, evenly spread over the frames, so that frames filled
/// by a roof are held by it. Sightings beyond the others' spread are left out.
void add_raised_points(const std::vector<TieFrame>&, const std::vector<TiePoint>& raised, Group&);

}  // namespace lookdown::place
