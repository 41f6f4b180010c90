#include "stages/mosaic/geometry/displacement_field.h"

#include <cmath>

namespace lookdown::mosaic {

bool Bend::strained_at(double x_px, double y_px) const {
  if (strained.empty()) return false;
  const cv::Point cell(static_cast<int>(std::floor((x_px + 0.5) / cell_px)),
                       static_cast<int>(std::floor((y_px + 0.5) / cell_px)));
  return cells.contains(cell) && strained.at<uchar>(cell - cells.tl()) != 0;
}

cv::Point2d Bend::at(double x_px, double y_px) const {
  if (empty()) return {0, 0};
  const double column = (x_px + 0.5) / cell_px - 0.5 - cells.x, row = (y_px + 0.5) / cell_px - 0.5 - cells.y;
  const int left = static_cast<int>(std::floor(column)), top = static_cast<int>(std::floor(row));
  const double right_share = column - left, bottom_share = row - top;
  cv::Point2d sum(0, 0);
  for (int down = 0; down < 2; ++down)
    for (int right = 0; right < 2; ++right) {
      if (left + right < 0 || top + down < 0 || left + right >= cells.width || top + down >= cells.height)
        continue;
      const auto& shift = shift_px.at<cv::Vec2f>(top + down, left + right);
      const double share = (right ? right_share : 1 - right_share) * (down ? bottom_share : 1 - bottom_share);
      sum += share * cv::Point2d(shift[0], shift[1]);
    }
  return sum;
}

}  // namespace lookdown::mosaic
