// Which frame is shown where, on the survey grid.
#pragma once

#include <opencv2/core.hpp>

#include "stages/mosaic/overview/overview.h"

namespace lookdown::mosaic {

/// View index of each survey cell, CV_16SC1, survey rows x columns; -1 where no frame sees the cell.
using LabelMap = cv::Mat;

/// The least disliked frame of each cell, seams not yet considered. Of equals the first in the order of the
/// record.
[[nodiscard]] LabelMap least_disliked(const Survey&);

}  // namespace lookdown::mosaic
