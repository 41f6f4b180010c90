// What one frame shows on the survey grid, as seams and the search for things off the plane compare it.
#pragma once

#include <opencv2/core.hpp>
#include <vector>

#include "stages/mosaic/overview/overview.h"

namespace lookdown::mosaic {

/// Beside the colours of the survey: steps of brightness to the right and down (CV_16SC2) and how much a cell
/// stands out from its surroundings (CV_8UC1), in code values. Small types, for there is one of these for
/// every cell of every frame.
struct Structure {
  cv::Mat steps, salience;
};

/// Parallel to the survey's frames; empty for a frame that could not be read.
[[nodiscard]] std::vector<Structure> structures_of(const Survey&);

/// Code values by which two frames differ at a cell: colour and steps; -1 when one does not show it or shows
/// glare there.
[[nodiscard]] float difference_at(const Survey&, const std::vector<Structure>&, int a, int b, cv::Point cell);

}  // namespace lookdown::mosaic
