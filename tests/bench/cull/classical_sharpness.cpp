#include "classical_sharpness.h"

#include <algorithm>
#include <opencv2/imgproc.hpp>

namespace lookdown::bench {
namespace {

/// Blur along x: share of the variation between neighbours that survives a re-blur (eqs. 1 to 8 of the
/// paper).
double reblur_along_x(const cv::Mat& picture) {
  cv::Mat soft;
  cv::blur(picture, soft, {9, 1}, {-1, -1}, cv::BORDER_REPLICATE);
  const cv::Rect left(0, 0, picture.cols - 1, picture.rows), right(1, 0, picture.cols - 1, picture.rows);
  const cv::Mat variation = cv::abs(picture(right) - picture(left));
  const cv::Mat soft_variation = cv::abs(soft(right) - soft(left));
  const cv::Mat lost = cv::max(cv::Mat(variation - soft_variation), 0);
  const double all = cv::sum(variation)[0];
  return all > 0 ? (all - cv::sum(lost)[0]) / all : 1;
}

}  // namespace

double variance_of_laplacian(const cv::Mat& grey) {
  cv::Mat response;
  cv::Laplacian(grey, response, CV_32F, 1);
  cv::Scalar mean, deviation;
  cv::meanStdDev(response, mean, deviation);
  return deviation[0] * deviation[0];
}

double tenengrad(const cv::Mat& grey) {
  cv::Mat x, y;
  cv::Sobel(grey, x, CV_32F, 1, 0);
  cv::Sobel(grey, y, CV_32F, 0, 1);
  return cv::mean(x.mul(x) + y.mul(y))[0];
}

double reblur_sharpness(const cv::Mat& grey) {
  cv::Mat picture;
  grey.convertTo(picture, CV_32F);
  return 1 - std::max(reblur_along_x(picture), reblur_along_x(picture.t()));
}

}  // namespace lookdown::bench
