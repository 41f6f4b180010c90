// One frame as the search sees it: of bounded size, with what small bright specks would lose by averaging.
// Private to the stage.
#pragma once

#include <array>
#include <opencv2/core.hpp>

namespace lookdown::glare {

/// Long side of the copy that the search works on.
inline constexpr int kWorkingLongSidePx = 1024;

/// Size of the copy of a frame of `size`; frames that are smaller stay as they are.
[[nodiscard]] cv::Size working_size(cv::Size size);

struct WorkingPicture {
  cv::Mat bgr;       ///< CV_8UC3, long side at most kWorkingLongSidePx, by averaging
  cv::Mat peak;      ///< CV_8UC1, same size: brightest stored luma of the frame's pixels below each pixel
  cv::Mat calm_bgr;  ///< CV_8UC3, half that size, specks taken out by a median
};
/// `bgr`: the frame at any size not below the working size unless the frame is smaller; `luma`: CV_8UC1, the
/// frame at full size, or empty for that of `bgr`.
[[nodiscard]] WorkingPicture prepare(const cv::Mat& bgr, const cv::Mat& luma = {});
/// The same of a frame of size `frame` without `peak`, which glint alone is told by.
[[nodiscard]] WorkingPicture prepare_look(const cv::Mat& bgr, cv::Size frame);

/// Linear light 0..1 of each stored level (sRGB, IEC 61966-2-1).
[[nodiscard]] const std::array<float, 256>& linear_of_level();
/// Stored level (CV_8UC1) of a luminance in linear light (CV_32FC1).
[[nodiscard]] cv::Mat stored_level(const cv::Mat& luminance);
/// Luminance 0..1 (CV_32FC1) of stored luma (CV_8UC1), taken as that of grey.
[[nodiscard]] cv::Mat luminance_of(const cv::Mat& luma);
/// Stored luma (CV_8UC1) of CV_8UC3.
[[nodiscard]] cv::Mat luma_of(const cv::Mat& bgr);

}  // namespace lookdown::glare
