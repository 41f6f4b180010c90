// One group of connected frames, from ties to balanced poses in an arbitrary but metric-shaped world: plane z
// = 0, one world unit close to one pixel of the frames.
#pragma once

#include <vector>

#include "stages/place/group.h"

namespace lookdown::place {

struct GroupInput {
  /// Cameras and undistorted keypoints of the members are renewed as the lens becomes known.
  std::vector<TieFrame>& frames;
  const std::vector<Tie>& ties;
  const std::vector<KnownCamera>& cameras;
  const std::vector<int>& camera_of_frame;
  const std::vector<TiltKnowledge>& tilts;
};

/// Lays out and balances the frames `members`.
[[nodiscard]] Group adjust_group(const GroupInput&, const std::vector<int>& members);

}  // namespace lookdown::place
