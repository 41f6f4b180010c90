// The model of spectrum_fit.h at the samples, and its normal equations; private to the fit.
#pragma once

#include <Eigen/Core>
#include <array>
#include <numbers>

#include "stages/cull/spectrum/mtf_lobes.h"
#include "stages/cull/spectrum/spectrum_fit.h"

namespace lookdown::cull {

enum Unknown { kLevel, kSlope, kVariance, kLength, kDirection, kFloor, kFloorX, kFloorY, kFilled, kContent };
inline constexpr int kUnknowns = kContent + kContentAngles;
inline constexpr int kTouched = kContent + 2;  // unknowns that one sample depends on: two nodes of A at most
using Vector = Eigen::Matrix<double, kUnknowns, 1>;
using Matrix = Eigen::Matrix<double, kUnknowns, kUnknowns>;
using Column = SampleNumbers;

/// Of the logarithm of a Gaussian's squared transfer function, for each px^2.
inline constexpr double kCurvature = 4 * std::numbers::pi * std::numbers::pi;
inline constexpr double kExpectedSlope = 2.0;  ///< of scenes: Field 1987, see spectrum_fit.h

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
[[nodiscard]] Places places_of(const SpectrumSamples&, std::size_t step);

/// Sum over the samples of robust residuals (Geman-McClure would forget too much, Huber too little:
/// pseudo-Huber), with derivatives if wanted.
template <BlurShape shape>
[[nodiscard]] Normal evaluate(const Places&, const Vector& unknowns, bool derivatives);

}  // namespace lookdown::cull
