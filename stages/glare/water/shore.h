// Whether an area ends where something else begins, as water does at its shore, or amid what goes on beyond.
// Private to the stage (and its tests).
#pragma once

#include <opencv2/core.hpp>
#include <vector>

namespace lookdown::glare {

/// Share (0..1) of each region's outline across which the colour hardly changes: the means within some pixels
/// on both sides differ by less than 5 in CIE L*a*b* (twice what an eye just tells, 2.3: Mahy et al., Color
/// Res. Appl. 19:105, 1994). The picture's border is no outline; a region without any has 0.
/// `lab`: CIE L*a*b*, CV_32FC3; `labels`: CV_32SC1, the same size, 0 outside all regions, `count` labels with
/// that.
[[nodiscard]] std::vector<double> open_outline_shares(const cv::Mat& lab, const cv::Mat& labels, int count);

}  // namespace lookdown::glare
