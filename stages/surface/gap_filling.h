// Heights where none were found.
#pragma once

#include <opencv2/core.hpp>

namespace lookdown::surface {

/// Fills places where nothing is known: narrow gaps from the lower side, since what hides ground from a view
/// stands higher by `wall` or more; wide ones smoothly from all around; `known` (CV_8UC1) is not changed.
/// Nothing known at all: 0.
void fill_gaps(cv::Mat& heights, const cv::Mat& known, double wall);

}  // namespace lookdown::surface
