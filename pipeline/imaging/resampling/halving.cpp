#include "pipeline/imaging/resampling/halving.h"

#include <algorithm>
#include <opencv2/imgproc.hpp>

namespace lookdown {

cv::Mat halved_until(const cv::Mat& picture, int most_px) {
  cv::Mat reduced = picture;
  while (std::max(reduced.cols, reduced.rows) > most_px && std::min(reduced.cols, reduced.rows) > 1) {
    const cv::Size half(reduced.cols / 2, reduced.rows / 2);
    cv::Mat next;
    cv::resize(reduced(cv::Rect(0, 0, 2 * half.width, 2 * half.height)), next, half, 0, 0, cv::INTER_AREA);
    reduced = next;
  }
  return reduced;
}

}  // namespace lookdown
