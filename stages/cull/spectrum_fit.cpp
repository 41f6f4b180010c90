#include "stages/cull/spectrum_fit.h"

#include <Eigen/Cholesky>
#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <numbers>
#include <opencv2/imgproc.hpp>

#include "stages/cull/log_power.h"

namespace lookdown::cull {
namespace {

constexpr double kPi = std::numbers::pi;
constexpr int kUnknowns = 7;  // level, slope, variance, smear, direction, floor, floor slope
using Vector = Eigen::Matrix<double, kUnknowns, 1>;
using Matrix = Eigen::Matrix<double, kUnknowns, kUnknowns>;

constexpr double kResidualScale = 0.3;
// The slope of the scene and the Gaussian trade against each other; what is known of scenes holds the slope.
constexpr double kExpectedSlope = 2.0;
constexpr double kSlopeSigma = 0.5;
constexpr double kPriorWeight = 0.02;
constexpr int kIterations = 14;

Vector packed(const SpectrumFit& fit) {
  Vector p;
  p << fit.level, fit.slope, fit.variance_px2, fit.smear_px, fit.direction_rad, fit.floor, fit.floor_slope;
  return p;
}

SpectrumFit unpacked(const Vector& p, double cost) {
  return {p[0], p[1], p[2], p[3], p[4], p[5], p[6], cost};
}

Vector within_bounds(Vector p) {
  p[1] = std::clamp(p[1], 0.3, 4.5);
  p[2] = std::clamp(p[2], 0.0, 80.0);
  p[3] = std::clamp(p[3], 0.0, 80.0);
  p[6] = std::clamp(p[6], -60.0, 30.0);
  return p;
}

/// sinc^2(s) and its derivative.
struct Lobe {
  double value, derivative;
};
Lobe squared_sinc(double s) {
  const double x = kPi * s;
  if (std::abs(x) < 1e-3) return {1 - x * x / 3, -2 * kPi * x / 3};
  const double sine = std::sin(x), ratio = sine / x;
  return {ratio * ratio, 2 * ratio * (std::cos(x) - ratio) / s};
}

struct Normal {
  Matrix matrix = Matrix::Zero();
  Vector gradient = Vector::Zero();
  double cost = 0;
};

/// Sum over the samples of robust residuals (Geman-McClure would forget too much, Huber too little: pseudo-Huber), with derivatives if wanted.
Normal evaluate(const SpectrumSamples& samples, const Vector& p, bool with_smear, bool derivatives) {
  Normal out;
  const double c = std::cos(p[4]), s = std::sin(p[4]);
  // Nulls are filled by the window and the smoothing over neighbouring frequencies, the more the closer they lie.
  const double filled = 0.002 + std::pow(p[3] * 0.008, 2);
  const std::size_t count = samples.log_power.size();
  for (std::size_t i = 0; i < count; ++i) {
    const double fx = samples.fx[i], fy = samples.fy[i];
    const double square = fx * fx + fy * fy, log_f = 0.5 * std::log(square);
    const double along = fx * c + fy * s;
    const Lobe lobe = squared_sinc(p[3] * along);
    const double signal = p[0] - p[1] * log_f - 4 * kPi * kPi * p[2] * square + std::log(lobe.value + filled);
    const double floor = p[5] + p[6] * square;
    const double high = std::max(signal, floor);
    const double model = high + std::log1p(std::exp(std::min(signal, floor) - high));
    const double residual = (model - samples.log_power[i]) / kResidualScale;
    const double root = std::sqrt(1 + residual * residual);
    out.cost += 2 * (root - 1);
    if (!derivatives) continue;
    const double weight = 1 / root;
    const double share = 1 / (1 + std::exp(floor - signal));
    const double smear_slope = lobe.derivative / (lobe.value + filled);
    Vector d;
    d << share, -share * log_f, -share * 4 * kPi * kPi * square, with_smear ? share * smear_slope * along : 0,
        with_smear ? share * smear_slope * p[3] * (fy * c - fx * s) : 0, 1 - share, (1 - share) * square;
    d /= kResidualScale;
    out.matrix.template selfadjointView<Eigen::Lower>().rankUpdate(d, weight);
    out.gradient += weight * residual * d;
  }
  const double n = static_cast<double>(count);
  const double prior = (p[1] - kExpectedSlope) / kSlopeSigma;
  out.cost += kPriorWeight * n * prior * prior;
  if (derivatives) {
    out.matrix = Matrix(out.matrix.template selfadjointView<Eigen::Lower>());
    out.matrix(1, 1) += kPriorWeight * n / (kSlopeSigma * kSlopeSigma);
    out.gradient[1] += kPriorWeight * n * prior / kSlopeSigma;
  }
  return out;
}

double median_between(const SpectrumSamples& samples, double low, double high) {
  std::vector<float> values;
  for (std::size_t i = 0; i < samples.log_power.size(); ++i) {
    const double f = std::hypot(samples.fx[i], samples.fy[i]);
    if (f >= low && f < high) values.push_back(samples.log_power[i]);
  }
  if (values.empty()) return 0;
  std::nth_element(values.begin(), values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2), values.end());
  return values[values.size() / 2];
}

}  // namespace

SpectrumSamples samples_of(const cv::Mat& log_power) {
  // The half plane x >= 0 continues at x < 0 by symmetry; one more column on the left makes the smoothing right there.
  const int side = log_power.rows, columns = log_power.cols;
  cv::Mat wide(side + 2, columns + 1, CV_32F);
  for (int y = -1; y <= side; ++y) {
    const int row = (y + side) % side;
    log_power.row(row).copyTo(wide.row(y + 1).colRange(1, columns + 1));
    wide.at<float>(y + 1, 0) = log_power.at<float>((side - row) % side, 1);
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
      out.log_power.push_back(wide.at<float>(y + 1, x + 1));
    }
  return out;
}

SpectrumFit first_guess(const SpectrumSamples& samples) {
  SpectrumFit fit;
  fit.floor = median_between(samples, 0.42, 0.5);
  fit.level = median_between(samples, 0.03, 0.06) - kExpectedSlope * 3.1;
  fit.variance_px2 = 0.5;
  return fit;
}

SpectrumFit fit_spectrum(const SpectrumSamples& samples, SpectrumFit start, bool with_smear) {
  if (!with_smear) start.smear_px = 0;
  Vector p = within_bounds(packed(start));
  double damping = 1e-2;
  Normal now = evaluate(samples, p, with_smear, true);
  for (int iteration = 0; iteration < kIterations; ++iteration) {
    Matrix damped = now.matrix;
    damped.diagonal() += damping * (now.matrix.diagonal() + Vector::Constant(1e-6 * now.matrix.diagonal().maxCoeff()));
    const Vector step = damped.ldlt().solve(-now.gradient);
    const Vector next = within_bounds(p + step);
    const double cost = evaluate(samples, next, with_smear, false).cost;
    if (cost < now.cost) {
      const double gain = now.cost - cost;
      p = next;
      now = evaluate(samples, p, with_smear, true);
      damping = std::max(1e-6, damping * 0.3);
      if (gain < 1e-4 * cost) break;
    } else {
      damping *= 6;
      if (damping > 1e4) break;
    }
  }
  return unpacked(p, now.cost / std::max<std::size_t>(1, samples.log_power.size()));
}

}  // namespace lookdown::cull
