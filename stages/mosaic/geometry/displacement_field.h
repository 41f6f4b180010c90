// A smooth displacement of one frame on the canvas.
#pragma once

#include <opencv2/core.hpp>

namespace lookdown::mosaic {

/// What the frame shows at canvas pixel (x, y) is fetched from (x, y) + at(x, y). Empty: from (x, y).
struct Bend {
  cv::Rect cells;  ///< of the survey grid; no displacement outside
  int cell_px = 1;
  cv::Mat shift_px;  ///< CV_32FC2 at the centres of `cells`
  cv::Mat strained;  ///< CV_8UC1, 255 where the displacement is less than was wanted, for the picture ends;
                     ///< empty: nowhere

  [[nodiscard]] bool empty() const { return shift_px.empty(); }
  [[nodiscard]] cv::Point2d at(double x_px, double y_px) const;
  [[nodiscard]] bool strained_at(double x_px, double y_px) const;
};

}  // namespace lookdown::mosaic
