// From the choice on survey cells to the frame shown at each canvas pixel.
#pragma once

#include <opencv2/core.hpp>
#include <vector>

#include "stages/mosaic/render/scene.h"

namespace lookdown::mosaic {

/// Frames shown in an area, pixel by pixel.
struct Shown {
  std::vector<int> views;  ///< indices of those that are shown somewhere, ascending
  cv::Mat place;    ///< CV_16SC1, position in `views`, defined everywhere (carried on into uncovered pixels)
  cv::Mat covered;  ///< CV_8UC1, 255 where the frame really sees the pixel
};

/// Seams run smoothly between the cells; at the rim of a frame its true edge counts, pixel by pixel.
[[nodiscard]] Shown shown_in(const Scene&, const cv::Rect& area);

}  // namespace lookdown::mosaic
