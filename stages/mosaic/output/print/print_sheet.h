// The mosaic on paper at a true scale: a neat frame with a grid of coordinates, and a panel that says what,
// where, when, how large and how sure.
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

/// The smallest denominator at which it fits, of those that scale rulers carry (1:20, 25, 30, 40, 50, 75,
/// 100, 125 and their tenfolds).
[[nodiscard]] int fitting_scale(double width_m, double height_m, double room_wide_mm, double room_high_mm);

/// "1 cm = 2.5 m" for 250.
[[nodiscard]] std::string scale_in_words(int scale);

/// Largest of 1, 2, 5 x 10^n metres and up that puts grid lines at least `least_mm` apart at 1:`scale`.
[[nodiscard]] double grid_step_m(int scale, double least_mm);

/// A PDF at 1:`scale` on ISO 216 `paper` ("A4" .. "A0"), or at the largest scale of a ruler that fits one
/// sheet when `scale` is 0; the paper lies and the panel stands where the picture becomes largest. What does
/// not fit one sheet goes on several, that join without overlap. Needs a known gsd. At most 200 dots an inch.
[[nodiscard]] std::string print_sheet(const Canvas&, const ReadArea&, const PrintText&,
                                      const std::string& paper, int scale);

}  // namespace lookdown::mosaic
