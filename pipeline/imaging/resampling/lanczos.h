// Resampling with the windowed sinc of Lanczos (Duchon, J. Appl. Meteorol. 18:1016-1022, 1979), four lobes: 8
// x 8 taps a pixel.
#pragma once

#include <opencv2/core.hpp>

namespace lookdown {

/// `source` (CV_8UC3 or CV_16UC3) at `x`, `y` (CV_32FC1, pixels of the source, centres at integers); of the
/// source's type and their size. The outermost pixels go on beyond the edge. Sixteen bits are cv::remap's
/// with INTER_LANCZOS4. Of eight bits the same comes out, to a code value, in a fraction of the time: rows of
/// taps are weighed and summed side by side, which compilers turn into vector instructions, and positions are
/// kept to 1/64 px.
[[nodiscard]] cv::Mat lanczos(const cv::Mat& source, const cv::Mat& x, const cv::Mat& y);

}  // namespace lookdown
