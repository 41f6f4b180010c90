// The usual measures of sharpness, for comparison. All take CV_8UC1; larger is sharper.
#pragma once

#include <opencv2/core.hpp>

namespace lookdown::bench {

/// Variance of the Laplacian (Pech-Pacheco et al., ICPR 2000).
[[nodiscard]] double variance_of_laplacian(const cv::Mat& grey);
/// Mean squared Sobel gradient (Tenenbaum 1970; Krotkov, Int. J. Computer Vision 1:223, 1988).
[[nodiscard]] double tenengrad(const cv::Mat& grey);
/// One minus the blur measure of Crete, Dolmiere, Ladret & Nicolas, Proc. SPIE 6492, 64920I (2007): re-blur
/// by a mean over 9 pixels and compare the variations between neighbours before and after.
[[nodiscard]] double reblur_sharpness(const cv::Mat& grey);

}  // namespace lookdown::bench
