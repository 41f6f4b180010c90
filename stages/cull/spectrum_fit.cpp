#include "stages/cull/spectrum_fit.h"

#include <Eigen/Cholesky>
#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <numbers>
#include <opencv2/imgproc.hpp>

#include "stages/cull/log_power.h"
#include "stages/cull/transfer_lobes.h"

namespace lookdown::cull {
namespace {

constexpr double kPi = std::numbers::pi;
enum Unknown { kLevel, kSlope, kVariance, kLength, kDirection, kFloor, kFloorX, kFloorY, kFilled, kContent };
constexpr int kUnknowns = kContent + kContentAngles;
constexpr int kTouched = kContent + 2;  // unknowns that one sample depends on: two nodes of A at most
using Vector = Eigen::Matrix<double, kUnknowns, 1>;
using Matrix = Eigen::Matrix<double, kUnknowns, kUnknowns>;

constexpr double kResidualScale = 0.3;
// What is known beforehand keeps unknowns that trade against each other from running away: slope of the scene against Gaussian, content by direction
// against smear. Expected value, standard deviation and weight per sample.
constexpr double kExpectedSlope = 2.0, kSlopeSigma = 0.5, kSlopeWeight = 0.02;
constexpr double kContentSigma = 1.0, kContentWeight = 0.1;
constexpr double kExpectedFilled = -4.5, kFilledSigma = 1.2, kFilledWeight = 0.003;
// Most frequencies are high ones, where a blur leaves nothing but noise and the marks of coding: the slow ones count more.
constexpr double kWeighedFrom = 0.03;  // cycles/px
// Beyond this frequency one sample in four is enough, with four times the weight.
constexpr double kThinFrom = 0.2;
constexpr std::size_t kThinBy = 4;
constexpr double kGuessAt = 0.045;  // frequency at which the first guess takes the level
constexpr int kIterations = 16;

Vector packed(const SpectrumFit& fit) {
  Vector p;
  p.head<kContent>() << fit.level, fit.slope, fit.variance_px2, fit.length_px, fit.direction_rad, fit.floor, fit.floor_x, fit.floor_y, fit.log_filled;
  p.tail<kContentAngles>() = Eigen::Map<const Eigen::Matrix<double, kContentAngles, 1>>(fit.content.data());
  return p;
}

SpectrumFit unpacked(const Vector& p, double cost) {
  SpectrumFit fit{p[kLevel], p[kSlope], p[kVariance], p[kLength], p[kDirection], p[kFloor], p[kFloorX], p[kFloorY], p[kFilled], {}, cost};
  Eigen::Map<Eigen::Matrix<double, kContentAngles, 1>>(fit.content.data()) = p.tail<kContentAngles>();
  return fit;
}

Vector within_bounds(Vector p) {
  p[kSlope] = std::clamp(p[kSlope], 0.3, 4.5);
  p[kVariance] = std::clamp(p[kVariance], 0.0, 80.0);
  p[kLength] = std::clamp(p[kLength], 0.0, 80.0);
  for (int k : {kFloorX, kFloorY}) p[k] = std::clamp(p[k], -60.0, 30.0);
  p[kFilled] = std::clamp(p[kFilled], -8.0, -1.5);
  return p;
}

struct Normal {
  Matrix matrix = Matrix::Zero();
  Vector gradient = Vector::Zero();
  double cost = 0;

  void add_prior(int unknown, double off, double weight) {
    cost += weight * off * off;
    matrix(unknown, unknown) += weight;
    gradient[unknown] += weight * off;
  }
};

/// What does not change while the unknowns do.
struct Place {
  double fx, fy, square, log_f, log_power, weight, share;  // share: of the upper node of A
  int node, next;
};

std::vector<Place> places_of(const SpectrumSamples& samples) {
  std::vector<Place> places;
  double sum = 0;
  std::size_t far = 0;
  for (std::size_t i = 0; i < samples.log_power.size(); ++i) {
    Place at{};
    at.fx = samples.fx[i], at.fy = samples.fy[i], at.log_power = samples.log_power[i];
    at.square = at.fx * at.fx + at.fy * at.fy;
    const bool thinned = at.square > kThinFrom * kThinFrom;
    if (thinned && far++ % kThinBy != 0) continue;
    at.log_f = 0.5 * std::log(at.square);
    const double angle = std::atan2(at.fy, at.fx), position = (angle < 0 ? angle + kPi : angle) / kPi * kContentAngles;
    at.node = static_cast<int>(position) % kContentAngles;
    at.next = (at.node + 1) % kContentAngles;
    at.share = position - std::floor(position);
    at.weight = (thinned ? kThinBy : 1) / (std::sqrt(at.square) + kWeighedFrom);
    sum += at.weight;
    places.push_back(at);
  }
  for (Place& at : places) at.weight *= static_cast<double>(places.size()) / sum;
  return places;
}

/// Sum over the samples of robust residuals (Geman-McClure would forget too much, Huber too little: pseudo-Huber), with derivatives if wanted.
template <BlurShape shape>
Normal evaluate(const std::vector<Place>& places, const Vector& p, bool derivatives) {
  Normal out;
  const double c = std::cos(p[kDirection]), s = std::sin(p[kDirection]);
  const double filled = shape == BlurShape::none ? 0 : std::exp(p[kFilled]);
  for (const Place& at : places) {
    const double reach = shape == BlurShape::smear ? at.fx * c + at.fy * s : shape == BlurShape::disc ? std::sqrt(at.square) : 0;
    const Lobe lobe = shape == BlurShape::smear ? squared_sinc(p[kLength] * reach) : shape == BlurShape::disc ? squared_jinc(p[kLength] * reach) : Lobe{1, 0};
    const double passed = lobe.value + filled;
    const double content = p[kContent + at.node] * (1 - at.share) + p[kContent + at.next] * at.share;
    const double signal = p[kLevel] + content - p[kSlope] * at.log_f - 4 * kPi * kPi * p[kVariance] * at.square + std::log(passed);
    const double floor = p[kFloor] + p[kFloorX] * at.fx * at.fx + p[kFloorY] * at.fy * at.fy;
    const double over = std::exp(-std::abs(signal - floor));
    const double residual = (std::max(signal, floor) + std::log1p(over) - at.log_power) / kResidualScale;
    const double root = std::sqrt(1 + residual * residual);
    out.cost += 2 * at.weight * (root - 1);
    if (!derivatives) continue;
    const double share = (signal > floor ? 1 : over) / (1 + over) / kResidualScale, rest = (signal > floor ? over : 1) / (1 + over) / kResidualScale;
    const double steep = lobe.derivative / passed;
    const int unknown[kTouched] = {kLevel, kSlope, kVariance, kLength, kDirection, kFloor, kFloorX, kFloorY, kFilled, kContent + at.node, kContent + at.next};
    const double d[kTouched] = {share,
                                -share * at.log_f,
                                -share * 4 * kPi * kPi * at.square,
                                share * steep * reach,
                                shape == BlurShape::smear ? share * steep * p[kLength] * (at.fy * c - at.fx * s) : 0,
                                rest,
                                rest * at.fx * at.fx,
                                rest * at.fy * at.fy,
                                share * filled / passed,
                                share * (1 - at.share),
                                share * at.share};
    for (int row = 0; row < kTouched; ++row) {
      const double weighted = d[row] * at.weight / root;
      out.gradient[unknown[row]] += weighted * residual;
      for (int column = 0; column <= row; ++column) out.matrix(std::max(unknown[row], unknown[column]), std::min(unknown[row], unknown[column])) += weighted * d[column];
    }
  }
  const auto n = static_cast<double>(places.size());
  if (derivatives) out.matrix = Matrix(out.matrix.template selfadjointView<Eigen::Lower>());
  out.add_prior(kSlope, p[kSlope] - kExpectedSlope, kSlopeWeight * n / (kSlopeSigma * kSlopeSigma));
  out.add_prior(kFilled, p[kFilled] - kExpectedFilled, kFilledWeight * n / (kFilledSigma * kFilledSigma));
  for (int k = 0; k < kContentAngles; ++k) out.add_prior(kContent + k, p[kContent + k], kContentWeight * n / (kContentSigma * kContentSigma));
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

/// Level and floor from the spectrum itself, the rest from what is usual.
SpectrumFit first_guess(const SpectrumSamples& samples) {
  SpectrumFit fit;
  fit.floor = median_between(samples, 0.42, 0.5);
  fit.level = median_between(samples, 0.03, 0.06) + kExpectedSlope * std::log(kGuessAt);
  fit.variance_px2 = 0.5;
  return fit;
}

/// What a step may change.
enum class Free { all, all_but_shape };

template <BlurShape shape>
SpectrumFit fit(const std::vector<Place>& places, const SpectrumFit& start, int iterations, Free free = Free::all) {
  Vector p = within_bounds(packed(start));
  double damping = 1e-2;
  Normal now = evaluate<shape>(places, p, true);
  for (int iteration = 0; iteration < iterations; ++iteration) {
    Matrix damped = now.matrix;
    damped.diagonal() += damping * (now.matrix.diagonal() + Vector::Constant(1e-6 * now.matrix.diagonal().maxCoeff()));
    if (free == Free::all_but_shape)
      for (int k : {kLength, kDirection}) damped(k, k) *= 1e9;
    const Vector next = within_bounds(p + Vector(damped.ldlt().solve(-now.gradient)));
    Normal there = evaluate<shape>(places, next, iteration + 1 < iterations);
    if (there.cost < now.cost) {
      const double gain = now.cost - there.cost;
      p = next;
      now = std::move(there);
      damping = std::max(1e-6, damping * 0.3);
      if (gain < 1e-4 * now.cost) break;
    } else {
      damping *= 6;
      if (damping > 1e4) break;
    }
  }
  return unpacked(p, now.cost / static_cast<double>(std::max<std::size_t>(1, places.size())));
}

double turn_between(double a_rad, double b_rad) { return std::abs(std::remainder(a_rad - b_rad, kPi)); }

void keep_best(std::vector<SpectrumFit>& fits, std::size_t most) {
  std::stable_sort(fits.begin(), fits.end(), [](const SpectrumFit& a, const SpectrumFit& b) { return a.cost < b.cost; });
  fits.resize(std::min(fits.size(), most));
}

/// Best directions for each of the lengths that span what can be told, roughly fitted.
template <BlurShape shape>
std::vector<SpectrumFit> rough_fits(const std::vector<Place>& places, const SpectrumFit& guess) {
  constexpr int kDirections = shape == BlurShape::smear ? 18 : 1, kLengths = 9;
  constexpr double kShortest_px = shape == BlurShape::smear ? 2.8 : 1.2, kStep = 1.38;
  std::vector<SpectrumFit> out;
  for (int i = 0; i < kLengths; ++i) {
    std::vector<SpectrumFit> by_direction;
    for (int k = 0; k < kDirections; ++k) {
      SpectrumFit there = guess;
      there.direction_rad = k * kPi / kDirections;
      there.length_px = kShortest_px * std::pow(kStep, i);
      by_direction.push_back(fit<shape>(places, there, 1, Free::all_but_shape));
    }
    keep_best(by_direction, 2);
    for (const SpectrumFit& rough : by_direction) out.push_back(fit<shape>(places, rough, 3));
  }
  return out;
}

template <BlurShape shape>
SpectrumFit best_fit(const SpectrumSamples& samples) {
  constexpr std::size_t kFinalists = 4;
  const std::vector<Place> places = places_of(samples);
  // Half of them is enough to rank the starts.
  std::vector<Place> thin;
  for (std::size_t i = 0; i < places.size(); i += 2) thin.push_back(places[i]);
  std::vector<SpectrumFit> rough = rough_fits<shape>(thin, first_guess(samples));
  keep_best(rough, rough.size());
  std::vector<SpectrumFit> finalists;
  for (const SpectrumFit& one : rough) {
    const bool seen = std::any_of(finalists.begin(), finalists.end(), [&](const SpectrumFit& other) {
      return turn_between(one.direction_rad, other.direction_rad) < 0.1 && std::abs(std::log(one.length_px / other.length_px)) < 0.12;
    });
    if (!seen && finalists.size() < kFinalists) finalists.push_back(one);
  }
  for (SpectrumFit& finalist : finalists) finalist = fit<shape>(places, finalist, kIterations);
  keep_best(finalists, 1);
  return finalists.front();
}

/// A steep scene under a narrow blur and a flat one under a wide blur look alike at a glance: tried from narrow and from wide.
SpectrumFit gaussian_fit(const SpectrumSamples& samples) {
  const std::vector<Place> places = places_of(samples);
  std::vector<SpectrumFit> fits;
  for (const double variance_px2 : {0.3, 2.0, 8.0, 30.0}) {
    SpectrumFit start = first_guess(samples);
    start.variance_px2 = variance_px2;
    start.level += 4 * kPi * kPi * variance_px2 * kGuessAt * kGuessAt;
    fits.push_back(fit<BlurShape::none>(places, start, kIterations));
  }
  keep_best(fits, 1);
  return fits.front();
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

SpectrumFit fit_spectrum(const SpectrumSamples& samples, BlurShape shape) {
  if (shape == BlurShape::smear) return best_fit<BlurShape::smear>(samples);
  if (shape == BlurShape::disc) return best_fit<BlurShape::disc>(samples);
  return gaussian_fit(samples);
}

}  // namespace lookdown::cull
