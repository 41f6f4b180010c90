#include "stages/glare/picture/plane_math.h"

#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>

namespace lookdown::glare {

cv::Mat blurred(const cv::Mat& plane, double sigma_px) {
  // A box of width w has variance (w^2 - 1) / 12; two of them shall make sigma^2.
  const int window = std::max(1, static_cast<int>(std::lround(std::sqrt(6 * sigma_px * sigma_px + 1)))) | 1;
  cv::Mat out;
  cv::boxFilter(plane, out, -1, {window, window}, {-1, -1}, true, cv::BORDER_REFLECT);
  cv::boxFilter(out, out, -1, {window, window}, {-1, -1}, true, cv::BORDER_REFLECT);
  return out;
}

cv::Mat shares_of_mask(const cv::Mat& mask) {
  cv::Mat shares;
  mask.convertTo(shares, CV_32FC1, 1 / 255.0);
  return shares;
}

cv::Mat lab_of(const cv::Mat& bgr) {
  cv::Mat lab;
  bgr.convertTo(lab, CV_32FC3, 1 / 255.0);
  cv::cvtColor(lab, lab, cv::COLOR_BGR2Lab);
  return lab;
}

cv::Mat halved(const cv::Mat& plane) {
  cv::Mat out;
  cv::resize(plane, out, {std::max(1, plane.cols / 2), std::max(1, plane.rows / 2)}, 0, 0, cv::INTER_AREA);
  return out;
}

cv::Mat at_size(const cv::Mat& plane, cv::Size size, int interpolation) {
  if (plane.size() == size) return plane;
  cv::Mat out;
  cv::resize(plane, out, size, 0, 0, interpolation);
  return out;
}

}  // namespace lookdown::glare
