// The same frame in other light and through a worse lens: what a horizon must be told from as well.
#pragma once

#include <opencv2/core.hpp>

namespace lookdown::level {

/// `bgr` up to four stops darker, in warmer or colder light, in half of the cases out of focus (Gaussian of
/// up to 0.5 % of the long side), with noise and compressed as a JPEG. Nothing moves: a known horizon stays
/// where it is.
[[nodiscard]] cv::Mat3b other_light(const cv::Mat3b& bgr, cv::RNG& random);

}  // namespace lookdown::level
