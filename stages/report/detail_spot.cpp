#include "stages/report/detail_spot.h"

#include <algorithm>

namespace lookdown::report {

cv::Point detail_spot(const FrameRecord& frame) {
  const FrameSource& source = frame.source;
  cv::Point spot(source.width_px / 2, source.height_px / 2);
  if (!frame.sharpness || frame.sharpness->tiles.empty()) return spot;
  const Sharpness& sharpness = *frame.sharpness;
  const auto best =
      std::max_element(sharpness.tiles.begin(), sharpness.tiles.end(),
                       [](const TileBlur& a, const TileBlur& b) { return a.detail < b.detail; });
  if (best->detail > 0 && sharpness.tile_columns > 0 && sharpness.tile_rows > 0) {
    spot.x = static_cast<int>((best->column + 0.5) * source.width_px / sharpness.tile_columns);
    spot.y = static_cast<int>((best->row + 0.5) * source.height_px / sharpness.tile_rows);
  }
  return spot;
}

cv::Rect rectangle_around(cv::Point spot, cv::Size size, cv::Size frame_size) {
  const int width = std::min(size.width, frame_size.width);
  const int height = std::min(size.height, frame_size.height);
  return {std::clamp(spot.x - width / 2, 0, frame_size.width - width),
          std::clamp(spot.y - height / 2, 0, frame_size.height - height), width, height};
}

}  // namespace lookdown::report
