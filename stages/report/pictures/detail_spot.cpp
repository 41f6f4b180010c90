#include "stages/report/pictures/detail_spot.h"

#include <algorithm>

namespace lookdown::report {
namespace {

/// Below the horizon by a tenth of the frame, where it shows one: what rises just above it is not what one
/// looks for.
bool is_on_the_ground(const FrameRecord& frame, cv::Point spot) {
  if (!frame.horizon) return true;
  constexpr double kMargin = 0.1;
  const auto& [a, b, c] = frame.horizon->line;
  return a * spot.x + b * spot.y + c < -kMargin * frame.source.height_px;
}

}  // namespace

std::vector<cv::Point> detail_spots(const FrameRecord& frame) {
  const FrameSource& source = frame.source;
  std::vector<cv::Point> spots;
  if (frame.sharpness && frame.sharpness->tile_columns > 0 && frame.sharpness->tile_rows > 0) {
    std::vector<TileBlur> tiles = frame.sharpness->tiles;
    std::erase_if(tiles, [](const TileBlur& tile) { return tile.detail <= 0; });
    std::stable_sort(tiles.begin(), tiles.end(),
                     [](const auto& a, const auto& b) { return a.detail > b.detail; });
    for (const TileBlur& tile : tiles) {
      const cv::Point spot(
          static_cast<int>((tile.column + 0.5) * source.width_px / frame.sharpness->tile_columns),
          static_cast<int>((tile.row + 0.5) * source.height_px / frame.sharpness->tile_rows));
      if (is_on_the_ground(frame, spot)) spots.push_back(spot);
    }
  }
  spots.emplace_back(source.width_px / 2, source.height_px / 2);
  return spots;
}

cv::Point detail_spot(const FrameRecord& frame) {
  return detail_spots(frame).front();
}

cv::Rect rectangle_around(cv::Point spot, cv::Size size, cv::Size frame_size) {
  const int width = std::min(size.width, frame_size.width);
  const int height = std::min(size.height, frame_size.height);
  return {std::clamp(spot.x - width / 2, 0, frame_size.width - width),
          std::clamp(spot.y - height / 2, 0, frame_size.height - height), width, height};
}

}  // namespace lookdown::report
