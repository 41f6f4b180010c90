// Flat roofs kept whole: out of one frame where one shows all of a roof, else joined on the roof's own plane.
#pragma once

#include <vector>

#include "stages/mosaic/geometry/frame_view.h"
#include "stages/mosaic/geometry/raised_area.h"
#include "stages/mosaic/overview/label_map.h"
#include "stages/mosaic/overview/overview.h"

namespace lookdown::mosaic {

/// Where some frame shows all of a roof, the best of them is made to win there: all others become disliked on
/// the roof as it shows it.
void keep_whole(const std::vector<RaisedArea>&, const std::vector<FrameView>&, Survey&);

/// Roofs that the choice shows out of several frames, each of which leans them its own way, are drawn with
/// one lean, linear in place, as near as can be to those of the frames shown: straight edges stay straight,
/// and the pieces meet. Sets FrameView::bend. Walls and ground next to such a roof are covered where it moves
/// out over them and stretched where it moves in, over about twice the length by which it moves in the frame.
/// Frames in which it would have to move very far are left alone.
void join_roofs(const std::vector<RaisedArea>&, std::vector<FrameView>&, const Survey&, const LabelMap&);

}  // namespace lookdown::mosaic
