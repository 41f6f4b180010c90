// Groups of frames that show the same picture again: bursts and hovering.
#pragma once

#include <vector>

#include "pipeline/record/flight_record.h"

namespace lookdown::cull {

/// For each frame the index of the first frame of its group, or -1 for a frame that stands alone. Frames
/// without a signature stand alone.
[[nodiscard]] std::vector<int> group_near_duplicates(const std::vector<FrameRecord>& frames);

}  // namespace lookdown::cull
