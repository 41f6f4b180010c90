// What only one frame shows: someone walking, a line in the wind, the edge of a cloud's shadow.
#pragma once

#include "stages/mosaic/overview/overview.h"

namespace lookdown::mosaic {

/// Makes a frame disliked where it stands alone against at least two others: its colour is much farther from
/// the median of the frames that see the cell than the others' are. Where all differ (a leaning roof) none is
/// blamed, and two frames cannot outvote each other; what others show again where its height puts it is
/// spared. Frames that only fill are too blurred to tell. Expects corrected colours in the survey.
void dislike_passing_things(const std::vector<FrameView>&, Survey&);

}  // namespace lookdown::mosaic
