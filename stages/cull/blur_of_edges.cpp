#include "stages/cull/blur_of_edges.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <opencv2/imgproc.hpp>
#include <vector>

namespace lookdown::cull {
namespace {

constexpr int kDirections = 12;
constexpr double kFineSigma = 1.0;
constexpr double kCoarseSigma = 2.0;
constexpr double kSharpestShare = 0.25;
constexpr std::size_t kEdgesWanted = 400;

struct Slopes {
  cv::Mat x, y;
};

Slopes slopes(const cv::Mat& picture, double sigma) {
  cv::Mat smooth;
  cv::GaussianBlur(picture, smooth, {0, 0}, sigma, sigma, cv::BORDER_REFLECT);
  Slopes out;
  cv::Sobel(smooth, out.x, CV_32F, 1, 0, 1, 0.5);
  cv::Sobel(smooth, out.y, CV_32F, 0, 1, 1, 0.5);
  return out;
}

/// Standard deviation of white noise from the median absolute value of a second-difference mask (Immerkaer, Computer Vision
/// and Image Understanding 64:300, 1996), with the median instead of the mean so that edges do not count.
double noise_sigma(const cv::Mat& picture) {
  static const cv::Mat mask = (cv::Mat_<float>(3, 3) << 1, -2, 1, -2, 4, -2, 1, -2, 1);
  cv::Mat response;
  cv::filter2D(picture, response, CV_32F, mask);
  std::vector<float> values;
  for (int y = 1; y < response.rows - 1; y += 2)
    for (int x = 1; x < response.cols - 1; x += 2) values.push_back(std::abs(response.at<float>(y, x)));
  if (values.empty()) return 0;
  std::nth_element(values.begin(), values.begin() + values.size() / 2, values.end());
  return values[values.size() / 2] / 0.6745 / 6;
}

/// sigma^2 of the edge itself from the slopes at both scales; may be below zero at thin lines, which are as sharp as can be.
double edge_variance(double fine, double coarse) {
  const double ratio = std::max(1.0001, (fine * fine) / (coarse * coarse));
  return (kCoarseSigma * kCoarseSigma - ratio * kFineSigma * kFineSigma) / (ratio - 1);
}

struct DirectionEdges {
  std::vector<float> variance;
};

using EdgesByDirection = std::array<DirectionEdges, kDirections>;

EdgesByDirection collect_edges(const cv::Mat& picture) {
  const Slopes fine = slopes(picture, kFineSigma), coarse = slopes(picture, kCoarseSigma);
  // White noise of sigma n leaves n / (sqrt(8 pi) a^2) in a slope at scale a; edges well above it are used.
  const double noise_in_slope = noise_sigma(picture) / (std::sqrt(8 * std::numbers::pi) * kFineSigma * kFineSigma);
  const double least = std::max(1.5, 8 * noise_in_slope);
  EdgesByDirection edges;
  const int rim = 4;
  for (int y = rim; y < picture.rows - rim; ++y)
    for (int x = rim; x < picture.cols - rim; ++x) {
      const double gx = fine.x.at<float>(y, x), gy = fine.y.at<float>(y, x);
      const double slope = std::hypot(gx, gy);
      if (slope < least) continue;
      const int sx = static_cast<int>(std::lround(gx / slope)), sy = static_cast<int>(std::lround(gy / slope));
      const double before = std::hypot(fine.x.at<float>(y - sy, x - sx), fine.y.at<float>(y - sy, x - sx));
      const double after = std::hypot(fine.x.at<float>(y + sy, x + sx), fine.y.at<float>(y + sy, x + sx));
      if (slope < before || slope <= after) continue;
      const double wide = (coarse.x.at<float>(y, x) * gx + coarse.y.at<float>(y, x) * gy) / slope;
      if (wide <= 0.05 * slope) continue;
      double angle = std::atan2(-gy, gx);
      if (angle < 0) angle += std::numbers::pi;
      const int bin = static_cast<int>(std::floor(angle / std::numbers::pi * kDirections + 0.5)) % kDirections;
      edges[bin].variance.push_back(static_cast<float>(edge_variance(slope, wide)));
    }
  return edges;
}

double quantile(std::vector<float>& values, double share) {
  const auto at = values.begin() + static_cast<std::ptrdiff_t>(share * (values.size() - 1));
  std::nth_element(values.begin(), at, values.end());
  return *at;
}

}  // namespace

EdgeBlur blur_of_edges(const cv::Mat& grey) {
  cv::Mat picture;
  grey.convertTo(picture, CV_32F);
  EdgesByDirection edges = collect_edges(picture);

  // Variance of the blur by direction: v(t) = s^2 + L^2 / 12 cos^2(t - t0) = c0 + c1 cos 2t + c2 sin 2t, weighted by edges.
  cv::Matx33d normal = cv::Matx33d::zeros();
  cv::Vec3d right(0, 0, 0);
  std::size_t count = 0;
  for (int k = 0; k < kDirections; ++k) {
    auto& variance = edges[k].variance;
    count += variance.size();
    if (variance.size() < 8) continue;
    const double v = std::max(0.0, quantile(variance, kSharpestShare));
    const double t = 2 * std::numbers::pi * k / kDirections;
    const double weight = std::min<double>(variance.size(), kEdgesWanted) / (0.3 + v);
    const cv::Vec3d basis(1, std::cos(t), std::sin(t));
    normal += weight * basis * basis.t();
    right += weight * v * basis;
  }
  EdgeBlur out;
  out.detail = std::min(1.0, static_cast<double>(count) / kEdgesWanted);
  cv::Vec3d solution;
  if (!cv::solve(normal, right, solution, cv::DECOMP_CHOLESKY)) {
    out.detail = 0;
    return out;
  }
  const double amplitude = std::hypot(solution[1], solution[2]);
  const double across = std::max(0.0, solution[0] - amplitude);
  out.sigma_px = std::sqrt(across);
  out.smear_px = std::sqrt(12 * 2 * amplitude);
  double angle = std::atan2(solution[2], solution[1]) / 2;
  if (angle < 0) angle += std::numbers::pi;
  out.smear_deg = angle * 180 / std::numbers::pi;
  out.spread = 0.1 + 0.9 * (1 - out.detail);
  return out;
}

}  // namespace lookdown::cull
