// Roofs that no frame sees whole.
#pragma once

#include <vector>

#include "stages/mosaic/frame_store.h"
#include "stages/mosaic/frame_view.h"
#include "stages/mosaic/raised_area.h"
#include "stages/mosaic/survey.h"

namespace lookdown::mosaic {

/// Flat rectangular roofs on which the frames agree at some height and not on the ground (a plane sweep:
/// Collins, "A space-sweep approach to true multi-image matching", CVPR 1996), each larger than any one frame
/// shows. Any seam would have to cut such a roof at the lean of two frames. Others are left leaning and
/// whole. Expects corrected colours in the survey.
[[nodiscard]] std::vector<RaisedArea> long_roofs(const std::vector<FrameView>&, const Survey&, FrameStore&);

/// Puts the raised areas into the views, and into the survey what each frame shows of them; ground that they
/// hide from a frame becomes disliked in it.
void raise(const std::vector<RaisedArea>&, std::vector<FrameView>&, Survey&);

}  // namespace lookdown::mosaic
