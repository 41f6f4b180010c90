#include "stages/cull/spectrum/spectrum_fit.h"

#include <Eigen/Cholesky>
#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <numbers>
#include <opencv2/imgproc.hpp>

#include "stages/cull/spectrum/log_periodogram.h"
#include "stages/cull/spectrum/mtf_lobes.h"

namespace lookdown::cull {
namespace {

constexpr double kPi = std::numbers::pi;
enum Unknown { kLevel, kSlope, kVariance, kLength, kDirection, kFloor, kFloorX, kFloorY, kFilled, kContent };
constexpr int kUnknowns = kContent + kContentAngles;
constexpr int kTouched = kContent + 2;  // unknowns that one sample depends on: two nodes of A at most
using Vector = Eigen::Matrix<double, kUnknowns, 1>;
using Matrix = Eigen::Matrix<double, kUnknowns, kUnknowns>;
using Column = SampleNumbers;

constexpr double kResidualScale = 0.3;
constexpr double kCurvature =
    4 * kPi * kPi;  // of the logarithm of a Gaussian's squared transfer function, for each px^2
// What is known beforehand keeps unknowns that trade against each other from running away: slope of the scene
// against Gaussian, content by direction against smear. Expected value, standard deviation and weight per
// sample.
constexpr double kExpectedSlope = 2.0, kSlopeSigma = 0.5, kSlopeWeight = 0.02;
constexpr double kContentSigma = 1.0, kContentWeight = 0.1;
constexpr double kExpectedFilled = -4.5, kFilledSigma = 1.2, kFilledWeight = 0.003;
// Most frequencies are high ones, where a blur leaves nothing but noise and the marks of coding: the slow
// ones count more.
constexpr double kWeighedFrom = 0.03;  // cycles/px
// Beyond this frequency one sample in four is enough, with four times the weight.
constexpr double kThinFrom = 0.2;
constexpr std::size_t kThinBy = 4;
constexpr double kGuessAt = 0.045;  // frequency at which the first guess takes the level
constexpr int kIterations = 16;

Vector packed(const SpectrumFit& fit) {
  Vector p;
  p.head<kContent>() << fit.level, fit.slope, fit.variance_px2, fit.length_px, fit.direction_rad, fit.floor,
      fit.floor_x, fit.floor_y, fit.log_filled;
  p.tail<kContentAngles>() = Eigen::Map<const Eigen::Matrix<double, kContentAngles, 1>>(fit.content.data());
  return p;
}

SpectrumFit unpacked(const Vector& p, double cost) {
  SpectrumFit fit{p[kLevel],  p[kSlope],  p[kVariance], p[kLength], p[kDirection], p[kFloor],
                  p[kFloorX], p[kFloorY], p[kFilled],   {},         cost};
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

/// What does not change while the unknowns do: one column a sample, those between the same two nodes of A
/// next to each other.
struct Places {
  enum Known {
    kFx,
    kFy,
    kSquare,
    kRadius,
    kLogF,
    kPower,
    kWeight,
    kShare,
    kKnown
  };  // kShare: of the upper node of A
  Eigen::Array<float, Eigen::Dynamic, kKnown, Eigen::ColMajor, kMostSamples, kKnown> known;
  std::array<int, kContentAngles + 1> first{};  ///< sample at which each node's begin
  [[nodiscard]] auto of(Known what) const { return known.col(what); }
  [[nodiscard]] Eigen::Index size() const { return known.rows(); }
};

/// Every `step`-th of the samples.
Places places_of(const SpectrumSamples& samples, std::size_t step) {
  using Row = std::array<float, Places::kKnown>;
  std::array<std::vector<Row>, kContentAngles> by_node;
  float sum = 0;
  std::size_t far = 0, used = 0, all = 0;
  for (std::size_t i = 0; i < samples.log_periodogram.size(); ++i) {
    const double fx = samples.fx[i], fy = samples.fy[i], square = fx * fx + fy * fy,
                 radius = std::sqrt(square);
    const bool thinned = radius > kThinFrom;
    if ((thinned && far++ % kThinBy != 0) || used++ % step != 0 || all == kMostSamples) continue;
    const double angle = std::atan2(fy, fx),
                 position = (angle < 0 ? angle + kPi : angle) / kPi * kContentAngles;
    const double weight = (thinned ? static_cast<double>(kThinBy) : 1.0) / (radius + kWeighedFrom);
    const auto number = [](double value) { return static_cast<float>(value); };
    by_node[static_cast<std::size_t>(position) % kContentAngles].push_back(
        {number(fx), number(fy), number(square), number(radius), number(std::log(radius)),
         samples.log_periodogram[i], number(weight), number(position - std::floor(position))});
    sum += number(weight);
    ++all;
  }
  Places places;
  places.known.resize(static_cast<Eigen::Index>(all), Places::kKnown);
  Eigen::Index at = 0;
  for (int node = 0; node < kContentAngles; ++node) {
    places.first[node] = static_cast<int>(at);
    for (const Row& row : by_node[node])
      places.known.row(at++) = Eigen::Map<const Eigen::Array<float, 1, Places::kKnown>>(row.data());
  }
  places.first[kContentAngles] = static_cast<int>(at);
  places.known.col(Places::kWeight) *= static_cast<float>(all) / sum;
  return places;
}

/// Squared transfer function of the shape at every sample, and its derivative by the argument; `reach` is the
/// frequency along the smear.
template <BlurShape shape>
void lobes_at(const Places& places, const Vector& p, Column& reach, Column& value, Column& derivative) {
  const auto length = static_cast<float>(p[kLength]);
  if constexpr (shape == BlurShape::motion) {
    reach = places.of(Places::kFx) * static_cast<float>(std::cos(p[kDirection])) +
            places.of(Places::kFy) * static_cast<float>(std::sin(p[kDirection]));
    squared_sinc(length * reach, value, derivative);
  } else {
    reach = places.of(Places::kRadius);
    squared_jinc(length * reach, value, derivative);
  }
}

/// Derivatives of all samples between two nodes of A, of which no others depend on the unknowns so: their
/// part of the normal equations.
using Derivatives = Eigen::Matrix<float, Eigen::Dynamic, kTouched, Eigen::ColMajor, kMostSamples, kTouched>;
void add_node(int node, const Eigen::Ref<const Derivatives>& d, const Eigen::Ref<const Derivatives>& weighted,
              const Eigen::Ref<const Eigen::VectorXf>& residual, Normal& out) {
  Eigen::Matrix<float, kTouched, kTouched> square;
  for (int row = 0; row < kTouched; ++row)
    for (int column = 0; column <= row; ++column)
      square(row, column) = square(column, row) = weighted.col(row).dot(d.col(column));
  const Eigen::Matrix<float, kTouched, 1> slope = weighted.transpose().lazyProduct(residual);
  const std::array<int, 2> nodes = {kContent + node, kContent + (node + 1) % kContentAngles};
  const auto unknown = [&](int touched) { return touched < kContent ? touched : nodes[touched - kContent]; };
  for (int row = 0; row < kTouched; ++row) {
    out.gradient[unknown(row)] += slope[row];
    for (int column = 0; column < kTouched; ++column)
      out.matrix(unknown(row), unknown(column)) += square(row, column);
  }
}

/// Sum over the samples of robust residuals (Geman-McClure would forget too much, Huber too little:
/// pseudo-Huber), with derivatives if wanted.
template <BlurShape shape>
Normal evaluate(const Places& places, const Vector& p, bool derivatives) {
  constexpr bool shaped = shape != BlurShape::none;
  const auto number = [](double value) { return static_cast<float>(value); };
  const Eigen::Index n = places.size();
  const auto filled = number(shaped ? std::exp(p[kFilled]) : 0);
  Column reach, value, steep, passed, content(n);
  for (int node = 0; node < kContentAngles; ++node) {
    const int first = places.first[node], count = places.first[node + 1] - first;
    const auto lower = number(p[kContent + node]), upper = number(p[kContent + (node + 1) % kContentAngles]);
    content.segment(first, count) = lower + (upper - lower) * places.of(Places::kShare).segment(first, count);
  }
  Column signal = number(p[kLevel]) + content - number(p[kSlope]) * places.of(Places::kLogF) -
                  number(kCurvature * p[kVariance]) * places.of(Places::kSquare);
  if constexpr (shaped) {
    lobes_at<shape>(places, p, reach, value, steep);
    passed = value + filled;
    signal += passed.log();
  }
  const Column floor = number(p[kFloor]) + number(p[kFloorX]) * places.of(Places::kFx).square() +
                       number(p[kFloorY]) * places.of(Places::kFy).square();
  const Column over = (-(signal - floor).abs()).exp();
  const Column residual =
      (signal.max(floor) + (1 + over).log() - places.of(Places::kPower)) / number(kResidualScale);
  const Column root = (1 + residual.square()).sqrt();
  Normal out;
  out.cost = 2 * (places.of(Places::kWeight) * (root - 1)).sum();
  if (derivatives) {
    const Column larger = 1 / ((1 + over) * number(kResidualScale)), smaller = over * larger;
    const Column share = (signal > floor).select(larger, smaller),
                 rest = (signal > floor).select(smaller, larger);
    Derivatives d(n, kTouched);
    d.col(kLevel) = share;
    d.col(kSlope) = -share * places.of(Places::kLogF);
    d.col(kVariance) = -number(kCurvature) * share * places.of(Places::kSquare);
    d.col(kFloor) = rest;
    d.col(kFloorX) = rest * places.of(Places::kFx).square();
    d.col(kFloorY) = rest * places.of(Places::kFy).square();
    d.col(kContent) = share * (1 - places.of(Places::kShare));
    d.col(kContent + 1) = share * places.of(Places::kShare);
    if constexpr (shaped) {
      steep *= share / passed;
      d.col(kLength) = steep * reach;
      d.col(kFilled) = filled * share / passed;
    } else {
      d.col(kLength).setZero();
      d.col(kFilled).setZero();
    }
    if constexpr (shape == BlurShape::motion)
      d.col(kDirection) = steep * number(p[kLength]) *
                          (places.of(Places::kFy) * number(std::cos(p[kDirection])) -
                           places.of(Places::kFx) * number(std::sin(p[kDirection])));
    else
      d.col(kDirection).setZero();
    const Column weight = places.of(Places::kWeight) / root;
    const Derivatives weighted = d.array().colwise() * weight;
    for (int node = 0; node < kContentAngles; ++node) {
      const int first = places.first[node], count = places.first[node + 1] - first;
      add_node(node, d.middleRows(first, count), weighted.middleRows(first, count),
               residual.segment(first, count).matrix(), out);
    }
  }
  const auto samples = static_cast<double>(n);
  out.add_prior(kSlope, p[kSlope] - kExpectedSlope, kSlopeWeight * samples / (kSlopeSigma * kSlopeSigma));
  out.add_prior(kFilled, p[kFilled] - kExpectedFilled,
                kFilledWeight * samples / (kFilledSigma * kFilledSigma));
  for (int k = 0; k < kContentAngles; ++k)
    out.add_prior(kContent + k, p[kContent + k], kContentWeight * samples / (kContentSigma * kContentSigma));
  return out;
}

double median_between(const SpectrumSamples& samples, double low, double high) {
  std::vector<float> values;
  for (std::size_t i = 0; i < samples.log_periodogram.size(); ++i) {
    const double f = std::hypot(samples.fx[i], samples.fy[i]);
    if (f >= low && f < high) values.push_back(samples.log_periodogram[i]);
  }
  if (values.empty()) return 0;
  std::nth_element(values.begin(), values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2),
                   values.end());
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
SpectrumFit fit(const Places& places, const SpectrumFit& start, int iterations, Free free = Free::all) {
  Vector p = within_bounds(packed(start));
  double damping = 1e-2;
  Normal now = evaluate<shape>(places, p, true);
  for (int iteration = 0; iteration < iterations; ++iteration) {
    Matrix damped = now.matrix;
    damped.diagonal() +=
        damping * (now.matrix.diagonal() + Vector::Constant(1e-6 * now.matrix.diagonal().maxCoeff()));
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
  return unpacked(p, now.cost / static_cast<double>(std::max<Eigen::Index>(1, places.size())));
}

double turn_between(double a_rad, double b_rad) {
  return std::abs(std::remainder(a_rad - b_rad, kPi));
}

void keep_best(std::vector<SpectrumFit>& fits, std::size_t most) {
  std::stable_sort(fits.begin(), fits.end(),
                   [](const SpectrumFit& a, const SpectrumFit& b) { return a.cost < b.cost; });
  fits.resize(std::min(fits.size(), most));
}

/// Fits from several starts; those that lag behind after a few steps are given up.
template <BlurShape shape>
SpectrumFit best_of(const Places& places, std::vector<SpectrumFit> fits) {
  constexpr int kFewSteps = 5;
  constexpr double kLagging = 1.15;
  for (SpectrumFit& one : fits) one = fit<shape>(places, one, kFewSteps);
  keep_best(fits, fits.size());
  const double limit = kLagging * fits.front().cost;
  std::erase_if(fits, [limit](const SpectrumFit& one) { return one.cost > limit; });
  for (SpectrumFit& one : fits) one = fit<shape>(places, one, kIterations - kFewSteps);
  keep_best(fits, 1);
  return fits.front();
}

/// Best directions for each of the lengths that span what can be told, roughly fitted.
template <BlurShape shape>
std::vector<SpectrumFit> rough_fits(const Places& places, const SpectrumFit& guess) {
  constexpr int kLengths = 9;
  constexpr double kShortest_px = shape == BlurShape::motion ? 2.8 : 1.2, kStep = 1.38;
  // The lobes of a short smear are broad: fewer directions find them.
  constexpr int kShortSmears = 4, kFew = 10, kMany = 18;
  std::vector<SpectrumFit> out;
  for (int i = 0; i < kLengths; ++i) {
    const int directions = shape == BlurShape::disc ? 1 : i < kShortSmears ? kFew : kMany;
    std::vector<SpectrumFit> by_direction;
    for (int k = 0; k < directions; ++k) {
      SpectrumFit there = guess;
      there.direction_rad = k * kPi / directions;
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
  // Smears that lie across the best of the rough fits get their chance too: straight edges lead it astray.
  constexpr std::size_t kFinalists = 6, kMostBeside = 4;
  constexpr double kBeside_rad = 0.5;
  const Places places = places_of(samples, 1);
  // Half of them is enough to rank the starts.
  std::vector<SpectrumFit> rough = rough_fits<shape>(places_of(samples, 2), first_guess(samples));
  keep_best(rough, rough.size());
  std::vector<SpectrumFit> finalists;
  std::size_t beside = 0;  // the best
  for (const SpectrumFit& one : rough) {
    const bool along_best = shape == BlurShape::disc ||
                            turn_between(one.direction_rad, rough.front().direction_rad) < kBeside_rad;
    if (along_best && beside == kMostBeside) continue;
    const bool seen = std::any_of(finalists.begin(), finalists.end(), [&](const SpectrumFit& other) {
      return turn_between(one.direction_rad, other.direction_rad) < 0.1 &&
             std::abs(std::log(one.length_px / other.length_px)) < 0.12;
    });
    if (seen || finalists.size() == kFinalists) continue;
    finalists.push_back(one);
    beside += along_best;
  }
  SpectrumFit best = best_of<shape>(places, finalists);
  if (shape == BlurShape::disc) return best;
  // Every second null fits a smear of half the length, and a rough start can end there.
  std::vector<SpectrumFit> others{best};
  for (const double ratio : {0.5, 0.7, 1.5, 2.0, 3.0, 4.0}) {
    others.push_back(best);
    others.back().length_px *= ratio;
  }
  return best_of<shape>(places, others);
}

/// A steep scene under a narrow blur and a flat one under a wide blur look alike at a glance: tried from
/// narrow and from wide.
SpectrumFit gaussian_fit(const SpectrumSamples& samples) {
  std::vector<SpectrumFit> starts;
  for (const double variance_px2 : {0.3, 2.0, 8.0, 30.0}) {
    SpectrumFit start = first_guess(samples);
    start.variance_px2 = variance_px2;
    start.level += kCurvature * variance_px2 * kGuessAt * kGuessAt;
    starts.push_back(start);
  }
  return best_of<BlurShape::none>(places_of(samples, 1), starts);
}

}  // namespace

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

SpectrumFit fit_spectrum(const SpectrumSamples& samples, BlurShape shape) {
  if (shape == BlurShape::motion) return best_fit<BlurShape::motion>(samples);
  if (shape == BlurShape::disc) return best_fit<BlurShape::disc>(samples);
  return gaussian_fit(samples);
}

SpectrumFit refine_motion_blur(const SpectrumSamples& samples, const SpectrumFit& near) {
  const Places places = places_of(samples, 1);
  std::vector<SpectrumFit> starts;
  for (const double ratio : {0.55, 0.7, 0.85, 1.0, 1.2, 1.45, 1.75})
    for (const double turn_rad : {-0.35, 0.0, 0.35}) {
      SpectrumFit start = near;
      start.length_px *= ratio;
      start.direction_rad += turn_rad;
      starts.push_back(start);
    }
  return best_of<BlurShape::motion>(places, starts);
}

}  // namespace lookdown::cull
