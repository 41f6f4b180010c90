// The same frame in other light and through a worse lens: what a horizon must be told from as well.
#pragma once

#include <opencv2/core.hpp>

namespace lookdown::level {

/// `bgr` up to four stops darker, in warmer or colder light, in a third of the cases out of focus (Gaussian
/// of up to 0.5 % of the long side), in a third smeared by up to 3 %, with noise and compressed as a JPEG. A
/// known horizon stays where it is.
[[nodiscard]] cv::Mat3b other_light(const cv::Mat3b& bgr, cv::RNG& random);

}  // namespace lookdown::level
