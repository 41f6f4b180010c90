// Which parts of the surface a frame cannot see, for other parts stand before them.
#pragma once

#include "stages/mosaic/geometry/frame_view.h"

namespace lookdown::mosaic {

/// Sets FrameView::hidden from its surface: a node is hidden when the line from it to the camera passes below
/// the surface by more than a wall's foot is unsure.
void find_hidden(FrameView&);

/// Takes back what would leave holes: a node that is hidden from every view which reaches it is hidden from
/// none, since a place shown with an error is better than none.
void keep_shown(std::vector<FrameView>&);

}  // namespace lookdown::mosaic
