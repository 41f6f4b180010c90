// Pairs of cells where two frames show the same spot, the evidence for the colour model.
#pragma once

#include <array>
#include <vector>

#include "stages/mosaic/geometry/frame_view.h"
#include "stages/mosaic/overview/overview.h"

namespace lookdown::mosaic {

/// The same spot in two frames. Logarithms of linear light; (u, v) from the principal point over half the
/// diagonal.
struct SharedSpot {
  int first = 0, second = 0;          ///< view indices, first < second
  std::array<double, 3> log_ratio{};  ///< ln first - ln second: blue, green, red
  std::array<double, 2> first_uv{}, second_uv{};
  std::array<double, 2> luminance{};  ///< linear, 0..1, of the first and the second
  double weight = 1;
};

/// Spots of every overlapping pair, at most `most_a_pair` evenly spread over the overlap; glare, clipped and
/// very dark cells and cells on strong edges (where a small misplacement changes the colour) are left out.
[[nodiscard]] std::vector<SharedSpot> shared_spots(const std::vector<FrameView>&, const Survey&,
                                                   int most_a_pair);

}  // namespace lookdown::mosaic
