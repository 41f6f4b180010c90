// Windows of a picture in a georeferenced file, for whoever shows it.
#pragma once

#include <opencv2/core.hpp>

class GDALDataset;

namespace lookdown {

/// `area` of the first four bands (red, green, blue, alpha) averaged to `size`: CV_8UC4, whether the file has
/// 8 or 16 bits a sample; empty when it cannot be read or has fewer bands. Quick where the file has
/// overviews.
[[nodiscard]] cv::Mat rgba_window(GDALDataset& picture, const cv::Rect& area, cv::Size size);

}  // namespace lookdown
