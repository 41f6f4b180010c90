#include "stages/glare/plane_math.h"

#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>
#include <vector>

namespace lookdown::glare {

cv::Mat blurred(const cv::Mat& plane, double sigma_px) {
  // A box of width w has variance (w^2 - 1) / 12; two of them shall make sigma^2.
  const int window = std::max(1, static_cast<int>(std::lround(std::sqrt(6 * sigma_px * sigma_px + 1)))) | 1;
  cv::Mat out;
  cv::boxFilter(plane, out, -1, {window, window}, {-1, -1}, true, cv::BORDER_REFLECT);
  cv::boxFilter(out, out, -1, {window, window}, {-1, -1}, true, cv::BORDER_REFLECT);
  return out;
}

cv::Mat log_of(const cv::Mat& plane) {
  cv::Mat out = plane + 0.004;
  cv::log(out, out);
  return out;
}

double quantile_of(const cv::Mat& plane, double quantile) {
  std::vector<float> sample;
  for (int y = 1; y < plane.rows; y += 4)
    for (int x = 1; x < plane.cols; x += 4) sample.push_back(plane.at<float>(y, x));
  if (sample.empty()) return 0;
  const auto at = sample.begin() + static_cast<long>(quantile * static_cast<double>(sample.size() - 1));
  std::nth_element(sample.begin(), at, sample.end());
  return *at;
}

cv::Mat detail(const cv::Mat& fine, const cv::Mat& coarse, double over_px) {
  return log_of(blurred(cv::Mat(cv::abs(fine - coarse)), over_px));
}

cv::Mat halved(const cv::Mat& plane) {
  cv::Mat out;
  cv::resize(plane, out, {std::max(1, plane.cols / 2), std::max(1, plane.rows / 2)}, 0, 0, cv::INTER_AREA);
  return out;
}

}  // namespace lookdown::glare
