// What is counted while the tiles of a mosaic go by.
#pragma once

#include <cstdint>
#include <map>
#include <set>
#include <vector>

#include "stages/mosaic/geometry/frame_view.h"
#include "stages/mosaic/render/render.h"

namespace lookdown::mosaic {

/// Sums in canvas pixels over the tiles that were counted, each once.
class Tally {
 public:
  /// `views` must outlive the tally.
  explicit Tally(const std::vector<FrameView>& views);
  void count(const Tile& tile);

  std::int64_t covered_px = 0;
  std::int64_t glare_px = 0;
  std::int64_t filled_px = 0;   ///< shown from frames that only fill
  std::set<int> filled_by;      ///< indices of frames
  double greatest_tangent = 0;  ///< of the angle from straight down at which anything is shown
  std::set<int> sources;        ///< FrameView::source_index of all that is shown

 private:
  std::map<int, const FrameView*> by_source_;
};

}  // namespace lookdown::mosaic
