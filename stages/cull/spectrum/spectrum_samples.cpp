#include <cmath>
#include <opencv2/imgproc.hpp>

#include "stages/cull/spectrum/spectrum_fit.h"

namespace lookdown::cull {

SpectrumSamples samples_of(const cv::Mat& log_periodogram) {
  // The half plane x >= 0 continues at x < 0 by symmetry; one more column on the left makes the smoothing
  // right there.
  const int side = log_periodogram.rows, columns = log_periodogram.cols;
  cv::Mat wide(side + 2, columns + 1, CV_32F);
  for (int y = -1; y <= side; ++y) {
    const int row = (y + side) % side;
    log_periodogram.row(row).copyTo(wide.row(y + 1).colRange(1, columns + 1));
    wide.at<float>(y + 1, 0) = log_periodogram.at<float>((side - row) % side, 1);
  }
  cv::GaussianBlur(wide, wide, {3, 3}, 0.85, 0.85, cv::BORDER_REPLICATE);
  SpectrumSamples out;
  for (int y = 0; y < side; y += 2)
    for (int x = 2; x < columns; x += 2) {
      const int row = y <= side / 2 ? y : y - side;
      const double f = std::hypot(x, row) / side;
      if (std::abs(row) < 2 || f < 0.018 || f > 0.5) continue;
      out.fx.push_back(static_cast<float>(x) / side);
      out.fy.push_back(static_cast<float>(-row) / side);
      out.log_periodogram.push_back(wide.at<float>(y + 1, x + 1));
    }
  return out;
}

}  // namespace lookdown::cull
