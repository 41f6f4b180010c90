// What the rooms of this stage hand to each other: a connected component of frames with its network, and what
// is known of a frame's tilt before the adjustment.
#pragma once

#include <Eigen/Core>
#include <optional>
#include <vector>

#include "stages/place/adjustment/network.h"
#include "stages/place/features/image_features.h"
#include "stages/place/pairs/tie_points.h"

namespace lookdown::place {

/// A group after the adjustment. Index i of every list belongs to members[i].
struct Group {
  std::vector<int> members;     ///< indices in the list of TieFrames, sorted
  Network network;              ///< frame i of the network is members[i]
  std::vector<Tie> ties;        ///< that the network was built from; indices of TieFrames
  std::vector<int> sights;      ///< sightings that survived the outlier rounds
  std::vector<double> rmse_px;  ///< of those
  std::vector<double> tilt_sigma_rad;
  double focal_sigma_share = 0;   ///< largest of the group's cameras
  std::vector<TiePoint> raised;   ///< tie points off the plane
  bool tilt_is_a_guess = false;   ///< too few frames, too oblique, to tell which way the ground lies
  std::vector<bool> held_firmly;  ///< enough sightings, spread well, to call the frame placed
};

/// What the flight knows beforehand of a frame's straight down (camera axes of the frame as stored).
struct TiltKnowledge {
  std::optional<Eigen::Vector3d> down_in_camera;
  double sigma_rad = 0;
};

}  // namespace lookdown::place
