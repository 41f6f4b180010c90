// Which part of a frame is worth showing at full size.
#pragma once

#include <opencv2/core/types.hpp>
#include <vector>

#include "pipeline/record/flight_record.h"

namespace lookdown::report {

/// Middle of the tile with the most detail below the horizon, else of the frame, in stored pixels: blur is
/// judged best there by eye.
[[nodiscard]] cv::Point detail_spot(const FrameRecord&);
/// Middles of the tiles below the horizon, most detail first, then of the frame.
[[nodiscard]] std::vector<cv::Point> detail_spots(const FrameRecord&);

/// A rectangle of at most `size` around `spot`, moved to lie inside a frame of `frame_size`.
[[nodiscard]] cv::Rect rectangle_around(cv::Point spot, cv::Size size, cv::Size frame_size);

}  // namespace lookdown::report
