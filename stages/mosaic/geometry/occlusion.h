// Which parts of the surface a frame cannot see, for other parts stand before them.
#pragma once

#include "stages/mosaic/geometry/frame_view.h"

namespace lookdown::mosaic {

/// Sets FrameView::hidden of views that look down on one surface: a node is hidden when the line from it to
/// the camera passes below the surface by more than a wall's foot is unsure. A node that is hidden from every
/// view which reaches it is hidden from none, since a place shown with an error is better than none.
void find_hidden(std::vector<FrameView>&);

}  // namespace lookdown::mosaic
