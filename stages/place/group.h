// What the rooms of this stage hand to each other: a connected component of frames with its network, and what
// is known of a frame's tilt before the adjustment.
#pragma once

#include <Eigen/Core>
#include <algorithm>
#include <optional>
#include <vector>

#include "stages/place/adjustment/network.h"
#include "stages/place/features/image_features.h"
#include "stages/place/pairs/tie_points.h"

namespace lookdown::place {

/// What a group's tie points tell of its ground's relief; lengths as shares of the flying height, so that
/// they outlast a change of scale.
struct Relief {
  bool supported = false;   ///< the group was adjusted in space
  double raised_share = 0;  ///< of the points that three frames or more share: surely off the mean plane
  double spread = 0;        ///< robust standard deviation of the points' heights
  double lowest = 0,
         highest = 0;       ///< of points of three frames or more, without half a per cent at either end
  double height_sigma = 0;  ///< median standard deviation of a point's height
};

/// A group after the adjustment. Index i of every list belongs to members[i].
struct Group {
  std::vector<int> members;     ///< indices in the list of TieFrames, sorted
  Network network;              ///< frame i of the network is members[i]
  std::vector<Tie> ties;        ///< that the network was built from; indices of TieFrames
  std::vector<int> sights;      ///< sightings that survived the outlier rounds
  std::vector<double> rmse_px;  ///< of those
  std::vector<double> tilt_sigma_rad;
  double focal_sigma_share = 0;  ///< largest of the group's cameras
  std::vector<TiePoint> raised;  ///< tie points off the plane
  Relief relief;
  bool tilt_is_a_guess = false;   ///< too few frames, too oblique, to tell which way the ground lies
  std::vector<bool> held_firmly;  ///< enough sightings, spread well, to call the frame placed
};

/// Place of a TieFrame among the group's members, -1 when it is none.
[[nodiscard]] inline int place_of(const Group& group, int member) {
  const auto at = std::lower_bound(group.members.begin(), group.members.end(), member);
  return at != group.members.end() && *at == member ? int(at - group.members.begin()) : -1;
}

/// What the flight knows beforehand of a frame's straight down (camera axes of the frame as stored).
struct TiltKnowledge {
  std::optional<Eigen::Vector3d> down_in_camera;
  double sigma_rad = 0;
};

}  // namespace lookdown::place
