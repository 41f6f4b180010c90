// Tie points: one spot on the ground seen in two or more frames, built by chaining the matches of all ties;
// and the groups of frames that ties connect.
#pragma once

#include <vector>

#include "stages/place/features/image_features.h"

namespace lookdown::place {

/// One frame's view of a tie point.
struct Sight {
  int frame = 0;  ///< index in the list of TieFrames
  int spot = 0;   ///< index in its features
};

struct TiePoint {
  std::vector<Sight> sights;  ///< ordered by frame, at most one a frame
};

/// Chains matches into tie points. A match that would give a point two places in one frame is refused.
[[nodiscard]] std::vector<TiePoint> chain_matches(const std::vector<TieFrame>&, const std::vector<Tie>&);

/// A subset that covers every frame evenly and prefers points seen by many frames: about `wanted` sights a
/// frame.
[[nodiscard]] std::vector<TiePoint> thin_out(const std::vector<TieFrame>&, const std::vector<TiePoint>&,
                                             int wanted);

/// Frames connected by ties, largest group first (by number of frames, then by smallest index), each sorted;
/// frames without a tie are in no group.
[[nodiscard]] std::vector<std::vector<int>> connected_groups(std::size_t frames, const std::vector<Tie>&);

}  // namespace lookdown::place
