#include <algorithm>
#include <bit>
#include <cstdint>
#include <map>

#include "stages/mosaic/render/render.h"

namespace lookdown::mosaic {
namespace {

/// Position along a Hilbert curve over a square of `side` (a power of two) cells. Hilbert (1891); bitwise
/// form from memory.
std::int64_t along_hilbert_curve(int side, int column, int row) {
  std::int64_t distance = 0;
  for (int half = side / 2; half > 0; half /= 2) {
    const int right = (column & half) > 0, down = (row & half) > 0;
    distance += static_cast<std::int64_t>(half) * half * ((3 * right) ^ down);
    if (down == 0) {
      if (right == 1) {
        column = half - 1 - (column & (half - 1));
        row = half - 1 - (row & (half - 1));
      }
      std::swap(column, row);
    }
    column &= half - 1;
    row &= half - 1;
  }
  return distance;
}

}  // namespace

std::vector<cv::Rect> tiles_of(const Canvas& canvas) {
  const int columns = (canvas.width_px + kTileSide - 1) / kTileSide,
            rows = (canvas.height_px + kTileSide - 1) / kTileSide;
  const int side = static_cast<int>(std::bit_ceil(static_cast<unsigned>(std::max(columns, rows))));
  std::map<std::int64_t, cv::Rect> ordered;
  for (int row = 0; row < rows; ++row)
    for (int column = 0; column < columns; ++column)
      ordered[along_hilbert_curve(side, column, row)] = {column * kTileSide, row * kTileSide, kTileSide,
                                                         kTileSide};
  std::vector<cv::Rect> tiles;
  for (const auto& [distance, tile] : ordered) tiles.push_back(tile);
  return tiles;
}

}  // namespace lookdown::mosaic
