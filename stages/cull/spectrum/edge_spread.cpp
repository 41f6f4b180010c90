#include "stages/cull/spectrum/edge_spread.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <opencv2/imgproc.hpp>
#include <vector>

#include "pipeline/base/robust_statistics.h"

namespace lookdown::cull {
namespace {

constexpr double kNarrowest_px = 0.25, kWidest_px = 16;
// Gradients are taken after a slight blur that tames the noise, and again after two re-blurs: the narrow one
// tells narrow edges apart, the wide one wide.
constexpr double kFirst_px = 0.9, kNarrowReblur_px = 1.2, kWideReblur_px = 3.6;
constexpr double kWideFrom_px = 2.0;
constexpr int kWideScale = 2;  // the wide re-blur is made at half size
constexpr int kMargin_px = 5;
// White noise of variance v has gradients of variance v / (8 pi s^4) after a Gaussian of s (derived); five
// deviations are no noise.
constexpr double kOverNoise = 5;
constexpr double kLeastGradient = 1.2;  // levels a pixel
constexpr float kOverMiddle =
    4;  // times the median of the tile: noise that coding has coloured, grass, gravel stay below

int bin_of(double sigma_px) {
  const double position = std::log(std::clamp(sigma_px, kNarrowest_px, kWidest_px) / kNarrowest_px) /
                          std::log(kWidest_px / kNarrowest_px);
  return std::min(kEdgeBins - 1, static_cast<int>(position * kEdgeBins));
}

double sigma_at(double bin) {
  return kNarrowest_px * std::pow(kWidest_px / kNarrowest_px, bin / kEdgeBins);
}

double quantile_of(const std::array<double, kEdgeBins>& counts, double share) {
  double all = 0, below = 0;
  for (double n : counts) all += n;
  if (all <= 0) return 0;
  for (int k = 0; k < kEdgeBins; ++k) {
    if (below + counts[k] >= share * all && counts[k] > 0)
      return sigma_at(k + (share * all - below) / counts[k]);
    below += counts[k];
  }
  return kWidest_px;
}

/// Central differences of one picture at a pixel.
cv::Point2f gradient(const cv::Mat& picture, int x, int y) {
  const float* row = picture.ptr<float>(y);
  return {(row[x + 1] - row[x - 1]) / 2, (picture.ptr<float>(y + 1)[x] - picture.ptr<float>(y - 1)[x]) / 2};
}

// Differences over two pixels act like a further blur of variance 1/3 (second moment of the difference
// kernel's integral, d^2 / 12 of a step d).
constexpr double kOfDifference_px2 = 1.0 / 3;
// At half size differences span four pixels, and values between the samples are a blur with a triangle of
// variance 2^2 / 6.
const double kWideEffective_px =
    std::sqrt(kWideReblur_px * kWideReblur_px + 4 * kOfDifference_px2 - kOfDifference_px2 + 4.0 / 6);

/// Gradient, per pixel of the frame, from a picture of half the size.
cv::Point2f wide_gradient(const cv::Mat& half, int x, int y) {
  const float at_x = static_cast<float>(x) / kWideScale, at_y = static_cast<float>(y) / kWideScale;
  const int left = std::clamp(static_cast<int>(at_x), 1, half.cols - 3),
            top = std::clamp(static_cast<int>(at_y), 1, half.rows - 3);
  const float u = at_x - static_cast<float>(left), v = at_y - static_cast<float>(top);
  const cv::Point2f above = gradient(half, left, top) * (1 - u) + gradient(half, left + 1, top) * u;
  const cv::Point2f below = gradient(half, left, top + 1) * (1 - u) + gradient(half, left + 1, top + 1) * u;
  return (above * (1 - v) + below * v) / kWideScale;
}

/// Squares of the gradients' lengths; zero within the margin.
cv::Mat squared_gradients(const cv::Mat& picture) {
  cv::Mat squared(picture.size(), CV_32F, cv::Scalar(0));
  for (int y = kMargin_px - 1; y <= picture.rows - kMargin_px; ++y) {
    const float *above = picture.ptr<float>(y - 1), *row = picture.ptr<float>(y),
                *below = picture.ptr<float>(y + 1);
    auto* to = squared.ptr<float>(y);
    for (int x = kMargin_px - 1; x <= picture.cols - kMargin_px; ++x) {
      const float dx = (row[x + 1] - row[x - 1]) / 2, dy = (below[x] - above[x]) / 2;
      to[x] = dx * dx + dy * dy;
    }
  }
  return squared;
}

/// Median of the squared gradients, from every fourth pixel of every fourth row.
float middle_of(const cv::Mat& squared) {
  std::vector<float> values;
  for (int y = kMargin_px; y < squared.rows - kMargin_px; y += 4)
    for (int x = kMargin_px; x < squared.cols - kMargin_px; x += 4) values.push_back(squared.at<float>(y, x));
  return median_in_place(values);
}

/// -1, 0 or 1: the component of a direction, rounded; `squared`: its squared length.
int whole_step(float component, float squared) {
  return 4 * component * component < squared ? 0 : component > 0 ? 1 : -1;
}

/// Places where the gradient is at least `least` (squared) and not lower than up and down the gradient.
std::vector<cv::Point> crests(const cv::Mat& picture, const cv::Mat& squared, float least) {
  std::vector<cv::Point> out;
  std::vector<int> strong(static_cast<std::size_t>(squared.cols));
  for (int y = kMargin_px; y < squared.rows - kMargin_px; ++y) {
    const float* row = squared.ptr<float>(y);
    std::size_t count = 0;
    for (int x = kMargin_px; x < squared.cols - kMargin_px; ++x) {
      strong[count] = x;
      count += row[x] >= least;  // no branch: texture cannot be foreseen
    }
    for (std::size_t i = 0; i < count; ++i) {
      const int x = strong[i];
      const cv::Point2f g = gradient(picture, x, y);
      const int dx = whole_step(g.x, row[x]), dy = whole_step(g.y, row[x]);
      if (squared.ptr<float>(y + dy)[x + dx] <= row[x] && squared.ptr<float>(y - dy)[x - dx] < row[x])
        out.emplace_back(x, y);
    }
  }
  return out;
}

/// Gaussian blur of a float picture with a fixed kernel.
class Blur {
 public:
  Blur(int taps, double sigma_px) : kernel_(cv::getGaussianKernel(taps, sigma_px, CV_32F)) {}
  [[nodiscard]] cv::Mat operator()(const cv::Mat& picture) const {
    cv::Mat out;
    cv::sepFilter2D(picture, out, CV_32F, kernel_, kernel_);
    return out;
  }

 private:
  cv::Mat kernel_;
};

/// Width of a step whose gradient falls from `before` to `after` by a re-blur.
double step_width(double before, double after, double reblur_px) {
  const double lost = before * before - after * after;
  return lost <= 0 ? kWidest_px : reblur_px * after / std::sqrt(lost);
}

}  // namespace

void EdgeHistogram::add(int direction, double sigma_px) {
  counts[direction][bin_of(sigma_px)] += 1;
}

EdgeHistogram& EdgeHistogram::operator+=(const EdgeHistogram& other) {
  for (int d = 0; d < kEdgeDirections; ++d)
    for (int k = 0; k < kEdgeBins; ++k) counts[d][k] += other.counts[d][k];
  return *this;
}

double EdgeHistogram::count(int direction) const {
  double sum = 0;
  for (float n : counts[direction]) sum += n;
  return sum;
}

double EdgeHistogram::count() const {
  double sum = 0;
  for (int d = 0; d < kEdgeDirections; ++d) sum += count(d);
  return sum;
}

double EdgeHistogram::quantile(double share) const {
  std::array<double, kEdgeBins> all{};
  for (const auto& direction : counts)
    for (int k = 0; k < kEdgeBins; ++k) all[k] += direction[k];
  return quantile_of(all, share);
}

std::array<double, kEdgeBins> EdgeHistogram::around(double direction_rad) const {
  const double position = direction_rad / std::numbers::pi * kEdgeDirections, whole = std::floor(position),
               share = position - whole;
  const int low = ((static_cast<int>(whole) % kEdgeDirections) + kEdgeDirections) % kEdgeDirections,
            high = (low + 1) % kEdgeDirections;
  std::array<double, kEdgeBins> out{};
  for (int k = 0; k < kEdgeBins; ++k) out[k] = counts[low][k] * (1 - share) + counts[high][k] * share;
  return out;
}

double EdgeHistogram::quantile(double share, double direction_rad) const {
  return quantile_of(around(direction_rad), share);
}

double EdgeHistogram::count(double direction_rad) const {
  double sum = 0;
  for (double n : around(direction_rad)) sum += n;
  return sum;
}

EdgeHistogram edge_histogram(const cv::Mat& grey, double noise_power) {
  EdgeHistogram out;
  static const Blur first(7, kFirst_px), narrower(9, kNarrowReblur_px);
  // The wide one follows from the narrow one: variances add. At half size it needs half the width.
  static const Blur wide_at_half(
      11, std::sqrt(kWideReblur_px * kWideReblur_px - kNarrowReblur_px * kNarrowReblur_px) / kWideScale);
  const auto wider = [](const cv::Mat& from) {
    cv::Mat half;
    cv::resize(from, half, from.size() / kWideScale, 0, 0,
               cv::INTER_NEAREST);  // blurred enough to be sampled thinly; takes the even pixels
    return wide_at_half(half);
  };
  cv::Mat floats;
  grey.convertTo(floats, CV_32F);
  const cv::Mat picture = first(floats), squared = squared_gradients(picture);
  const double noise = std::sqrt(noise_power / (8 * std::numbers::pi)) / (kFirst_px * kFirst_px);
  const float least = std::max(static_cast<float>(std::pow(std::max(kLeastGradient, kOverNoise * noise), 2)),
                               kOverMiddle * kOverMiddle * middle_of(squared));
  const std::vector<cv::Point> edges = crests(picture, squared, least);
  if (edges.empty()) return out;
  const cv::Mat narrow = narrower(picture);
  cv::Mat wide;  // made when the first edge needs it
  for (const cv::Point& at : edges) {
    const cv::Point2f g = gradient(picture, at.x, at.y);
    const float length = std::sqrt(g.dot(g));
    double width = step_width(length, gradient(narrow, at.x, at.y).dot(g) / length, kNarrowReblur_px);
    if (width > kWideFrom_px) {
      if (wide.empty()) wide = wider(narrow);
      width = step_width(length, wide_gradient(wide, at.x, at.y).dot(g) / length, kWideEffective_px);
    }
    const double angle = std::atan2(-g.y, g.x) / std::numbers::pi * kEdgeDirections;
    const int direction = (static_cast<int>(std::lround(angle)) + 2 * kEdgeDirections) % kEdgeDirections;
    out.add(direction, std::sqrt(std::max(0.0, width * width - kFirst_px * kFirst_px - kOfDifference_px2)));
  }
  return out;
}

}  // namespace lookdown::cull
