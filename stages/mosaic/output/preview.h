// The mosaic as a picture that any viewer shows, with scale bar and north arrow where they are known.
#pragma once

#include <opencv2/core.hpp>
#include <string>

#include "stages/mosaic/canvas.h"

namespace lookdown::mosaic {

inline constexpr int kPreviewLongSidePx = 4096;

/// Size of the preview: the canvas reduced so that its long side is at most kPreviewLongSidePx; never
/// enlarged.
[[nodiscard]] cv::Size preview_size(const Canvas&);

/// Length of a scale bar in metres: the largest of 1, 2, 5 x 10^n that takes at most `share` of `width_m`.
[[nodiscard]] double scale_bar_length_m(double width_m, double share = 0.25);

/// `rgba` (CV_8UC4, red first) of preview_size on white, with the marks; BGR, CV_8UC3. `north_known`: up is
/// north.
[[nodiscard]] cv::Mat draw_preview(const cv::Mat& rgba, const Canvas&, bool north_known,
                                   const std::string& days);

}  // namespace lookdown::mosaic
