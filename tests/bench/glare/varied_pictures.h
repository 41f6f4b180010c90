// Pictures of which the truth is known, made unlike those that one renderer draws.
#pragma once

#include <cstdint>
#include <opencv2/core.hpp>

namespace scoring {

struct VariedPicture {
  cv::Mat bgr;    ///< CV_8UC3
  cv::Mat water;  ///< CV_8UC1, 255 = water, the same size
};
/// A part of the picture, nearer or farther, in other light and colour, softer, with noise, as another codec
/// writes it; everything drawn by `seed`.
[[nodiscard]] VariedPicture varied(const cv::Mat& bgr, const cv::Mat& water, std::uint32_t seed);

}  // namespace scoring
