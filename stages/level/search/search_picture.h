// The small picture in which the horizon is looked for.
#pragma once

#include <opencv2/core.hpp>

#include "pipeline/geometry/camera.h"

namespace lookdown::level {

/// A frame made small and free of lens distortion, with what tells sky from ground at each pixel.
struct SearchPicture {
  cv::Mat4f channels;  ///< L*, a*, b* (CIE 1976) and fine texture (log of the mean high-pass amplitude)
  cv::Mat1b valid;     ///< 0 where the undistorted picture looks past the frame's edge
  double scale = 1;    ///< small pixels a pixel of the frame given
};

/// From an 8-bit BGR frame and its camera (both at the same size); long side about `long_side_px`.
[[nodiscard]] SearchPicture search_picture(const cv::Mat& bgr, const Camera& camera, int long_side_px = 192);

}  // namespace lookdown::level
