#include "stages/cull/spectrum/spectrum_fit.h"

#include <Eigen/Cholesky>
#include <algorithm>
#include <cmath>
#include <vector>

#include "pipeline/base/robust_statistics.h"
#include "stages/cull/spectrum/spectrum_model.h"

namespace lookdown::cull {
namespace {

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

double median_between(const SpectrumSamples& samples, double low, double high) {
  std::vector<float> values;
  for (std::size_t i = 0; i < samples.log_periodogram.size(); ++i) {
    const double f = std::hypot(samples.fx[i], samples.fy[i]);
    if (f >= low && f < high) values.push_back(samples.log_periodogram[i]);
  }
  return median_in_place(values);
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
  return std::abs(std::remainder(a_rad - b_rad, std::numbers::pi));
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
      there.direction_rad = k * std::numbers::pi / directions;
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
