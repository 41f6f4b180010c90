// Flat roofs that placing has missed.
#pragma once

#include <vector>

#include "stages/mosaic/geometry/frame_view.h"
#include "stages/mosaic/geometry/raised_area.h"
#include "stages/mosaic/overview/overview.h"

namespace lookdown::mosaic {

/// Flat rectangular roofs besides `known`, on which the frames agree at some height and not on the ground (a
/// plane sweep: Collins, "A space-sweep approach to true multi-image matching", CVPR 1996): what placing
/// finds no plane of for want of distinct marks. Expects corrected colours in the survey.
[[nodiscard]] std::vector<RaisedArea> swept_roofs(const std::vector<FrameView>&, const Survey&,
                                                  const std::vector<RaisedArea>& known);

/// True for what is long against a frame and seen whole by none: it must be joined of several. A short roof
/// that no frame sees whole stands at the edge of the flight, where nothing can be told of it safely.
[[nodiscard]] bool must_be_joined(const std::vector<FrameView>&, const RaisedArea&);

}  // namespace lookdown::mosaic
