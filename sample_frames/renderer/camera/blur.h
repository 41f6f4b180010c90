// Blur from motion and from focus, in linear light and before noise.
#pragma once

#include <opencv2/core.hpp>

#include "camera/trajectory.h"

namespace render {

// Applies `blur` to a float picture with any number of channels up to four.
cv::Mat blurred(const cv::Mat& picture, const FrameBlur& blur);

// Point spread of the blur at the frame centre on the pixel grid, sum 1, odd size.
cv::Mat centre_kernel(const FrameBlur& blur);

}  // namespace render
