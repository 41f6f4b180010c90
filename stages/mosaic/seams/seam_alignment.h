// Frames bent a little toward each other along their seams, so that what lies a little off its place meets.
#pragma once

#include <vector>

#include "stages/mosaic/seams/seam_ties.h"

namespace lookdown::mosaic {

/// Adds to FrameView::bend of every view that has ties: at a tie the two frames give way by half each (one of
/// them by all, where the other would run out of its picture); away from the seam the bend fades to nothing,
/// over five times its length, and ties on the plane hold their surroundings in place.
void bend_frames(std::vector<FrameView>&, const Survey&, const std::vector<SeamTie>&);

}  // namespace lookdown::mosaic
