#include "stages/glare/water/shore.h"

#include <algorithm>
#include <array>
#include <opencv2/imgproc.hpp>

namespace lookdown::glare {
namespace {

constexpr int kBesidePx = 7;

cv::Mat mean_around(const cv::Mat& plane) {
  cv::Mat mean;
  cv::boxFilter(plane, mean, -1, {2 * kBesidePx + 1, 2 * kBesidePx + 1}, {-1, -1}, true, cv::BORDER_REFLECT);
  return mean;
}

// Distance in colour between what is marked and what is not, around each pixel.
cv::Mat colour_step(const cv::Mat& bgr, const cv::Mat& marked) {
  cv::Mat lab, inside, sum = cv::Mat::zeros(bgr.size(), CV_32FC1);
  bgr.convertTo(lab, CV_32FC3, 1 / 255.0);
  cv::cvtColor(lab, lab, cv::COLOR_BGR2Lab);
  std::array<cv::Mat, 3> planes;
  cv::split(lab, planes.data());
  marked.convertTo(inside, CV_32FC1, 1 / 255.0);
  const cv::Mat outside = 1 - inside, within = mean_around(inside) + 1e-4,
                beyond = mean_around(outside) + 1e-4;
  for (const cv::Mat& plane : planes) {
    const cv::Mat step = mean_around(plane.mul(inside)) / within - mean_around(plane.mul(outside)) / beyond;
    sum += step.mul(step);
  }
  cv::sqrt(sum, sum);
  return sum;
}

}  // namespace

std::vector<double> open_outline_shares(const cv::Mat& bgr, const cv::Mat& labels, int count) {
  constexpr float kNoStep = 5;
  const cv::Mat marked = labels > 0, step = colour_step(bgr, marked);
  cv::Mat inner;
  cv::erode(marked, inner, {}, {-1, -1}, 1, cv::BORDER_CONSTANT, cv::Scalar(255));
  std::vector<double> outline(static_cast<std::size_t>(count), 0), open(outline);
  for (int y = 0; y < labels.rows; ++y)
    for (int x = 0; x < labels.cols; ++x) {
      if (!marked.at<uchar>(y, x) || inner.at<uchar>(y, x)) continue;
      const auto label = static_cast<std::size_t>(labels.at<int>(y, x));
      ++outline[label];
      open[label] += step.at<float>(y, x) < kNoStep;
    }
  for (std::size_t i = 0; i < open.size(); ++i) open[i] /= std::max(outline[i], 1.0);
  return open;
}

}  // namespace lookdown::glare
