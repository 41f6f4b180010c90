// The line that lifts the camera, or a leg of the rig, where it runs through a frame: a straight narrow band
// without an end in view.
#pragma once

#include <opencv2/core.hpp>

namespace lookdown::mosaic {

/// Finds straight bands along which a frame stands alone (`alone`, CV_8UC1, 255) among the cells where enough
/// other frames could contradict it (`asked`, CV_8UC1, 255). A band runs into the edge of `usable` (CV_8UC1,
/// 255) at one end at least, is alone over most of its length and differs alike from what lies on its two
/// sides in `bgr` (CV_8UC3, all four of the same size), which the outline of a thing that leans does not.
/// Returns CV_8UC1 of the same size: 255 on the bands, also where nobody was asked; empty when there is none.
[[nodiscard]] cv::Mat lines_in_view(const cv::Mat& bgr, const cv::Mat& usable, const cv::Mat& asked,
                                    const cv::Mat& alone);

}  // namespace lookdown::mosaic
