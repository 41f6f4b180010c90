// CIE 1976 L*a*b* of sRGB pictures.
#pragma once

#include <opencv2/core.hpp>

namespace lookdown {

/// CV_8UC3 BGR in sRGB (IEC 61966-2-1) to CV_32FC3 L* (0..100), a*, b* for the white point D65 (ISO/CIE
/// 11664-4). Like OpenCV's conversion, but without the tenth of a second that its tables take to be made,
/// which a small picture does not earn back.
[[nodiscard]] cv::Mat3f cie_lab(const cv::Mat3b& bgr);

}  // namespace lookdown
