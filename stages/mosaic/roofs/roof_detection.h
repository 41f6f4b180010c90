// Roofs that no frame sees whole.
#pragma once

#include <vector>

#include "stages/mosaic/geometry/frame_view.h"
#include "stages/mosaic/geometry/raised_area.h"
#include "stages/mosaic/overview/overview.h"

namespace lookdown::mosaic {

/// `known` and, besides, flat rectangular roofs on which the frames agree at some height and not on the
/// ground (a plane sweep: Collins, "A space-sweep approach to true multi-image matching", CVPR 1996), each
/// larger than any one frame shows: roofs that placing has missed for want of distinct marks. Expects
/// corrected colours in the survey.
[[nodiscard]] std::vector<RaisedArea> long_roofs(const std::vector<FrameView>&, const Survey&,
                                                 std::vector<RaisedArea> known);

}  // namespace lookdown::mosaic
