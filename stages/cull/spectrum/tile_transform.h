// Power spectrum of a square tile.
#pragma once

#include <opencv2/core.hpp>

namespace lookdown::cull {

/// |discrete Fourier transform|^2 / number of pixels of a real tile (CV_32F, kSpectralTile a side): rows are
/// vertical frequencies 0..side-1, columns horizontal frequencies 0..side/2, the others follow by symmetry.
/// The tile's left and right halves are transformed down their columns as one complex picture, and what that
/// leaves along its rows, always many lines side by side (Stockham's order, radix 4; Van Loan, Computational
/// Frameworks for the Fast Fourier Transform, SIAM 1992, 1.7): about twice as fast as OpenCV's cv::dft.
[[nodiscard]] cv::Mat tile_power(const cv::Mat& tile);

}  // namespace lookdown::cull
