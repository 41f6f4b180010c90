// Pictures of nothing but detail.
#pragma once

#include <opencv2/imgproc.hpp>

namespace lookdown::surface {

/// CV_8UC1, smoothed a little, 0 nowhere.
inline cv::Mat noise(cv::Size size, unsigned seed) {
  cv::Mat picture(size, CV_8UC1);
  cv::RNG random(seed * 2654435761ULL + 17);  // small seeds give sequences that are alike
  random.fill(picture, cv::RNG::UNIFORM, 1, 255);
  cv::GaussianBlur(picture, picture, {}, 1.2);
  return picture;
}

}  // namespace lookdown::surface
