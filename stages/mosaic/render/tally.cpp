#include "stages/mosaic/render/tally.h"

#include <algorithm>

namespace lookdown::mosaic {

Tally::Tally(const std::vector<FrameView>& views) {
  for (const FrameView& view : views) by_source_[view.source_index] = &view;
}

void Tally::count(const Tile& tile) {
  if (!tile.glare.empty()) glare_px += cv::countNonZero(tile.glare);
  constexpr int kLeanStep = 8;  // the lean changes slowly
  int last = -1;
  const FrameView* view = nullptr;
  for (int row = 0; row < tile.sources.rows; ++row)
    for (int column = 0; column < tile.sources.cols; ++column) {
      const int source = tile.sources.at<ushort>(row, column);
      if (source == kNoSource) continue;
      ++covered_px;
      if (source != last) {
        view = by_source_.at(source);
        sources.insert(source);
        if (view->fills) filled_by.insert(view->frame_index);
      }
      last = source;
      filled_px += view->fills;
      if (row % kLeanStep == 0 && column % kLeanStep == 0)
        greatest_tangent =
            std::max(greatest_tangent, view->tan_view_angle(tile.area.x + column, tile.area.y + row));
    }
}

}  // namespace lookdown::mosaic
