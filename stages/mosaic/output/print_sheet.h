// The mosaic on paper at a true scale.
#pragma once

#include <functional>
#include <opencv2/core.hpp>
#include <string>

#include "stages/mosaic/canvas.h"

namespace lookdown::mosaic {

struct PrintText {
  std::string title, days, accuracy;
  int frames = 0;
  bool north_known = false;
};

/// Reads `area` (canvas pixels) reduced to `size`: CV_8UC4, red first.
using ReadArea = std::function<cv::Mat(const cv::Rect& area, cv::Size size)>;

/// Denominators of common map scales, 1:20 and up.
[[nodiscard]] int fitting_scale(double width_m, double height_m, double room_wide_mm, double room_high_mm);

/// A PDF at 1:`scale` on ISO 216 `paper` ("A4" .. "A0"), turned as the mosaic lies, or at the largest common
/// scale that fits one sheet when `scale` is 0. What does not fit one sheet goes on several, that join
/// without overlap. Needs a known gsd. At most 200 dots an inch.
[[nodiscard]] std::string print_sheet(const Canvas&, const ReadArea&, const PrintText&,
                                      const std::string& paper, int scale);

}  // namespace lookdown::mosaic
