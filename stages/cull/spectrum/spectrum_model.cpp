#include "stages/cull/spectrum/spectrum_model.h"

#include <algorithm>
#include <cmath>
#include <vector>

namespace lookdown::cull {
namespace {

constexpr double kResidualScale = 0.3;
// What is known beforehand keeps unknowns that trade against each other from running away: slope of the scene
// against Gaussian, content by direction against smear. Expected value, standard deviation and weight per
// sample.
constexpr double kSlopeSigma = 0.5, kSlopeWeight = 0.02;
constexpr double kContentSigma = 1.0, kContentWeight = 0.1;
constexpr double kExpectedFilled = -4.5, kFilledSigma = 1.2, kFilledWeight = 0.003;
// Most frequencies are high ones, where a blur leaves nothing but noise and the marks of coding: the slow
// ones count more.
constexpr double kWeighedFrom = 0.03;  // cycles/px
// Beyond this frequency one sample in four is enough, with four times the weight.
constexpr double kThinFrom = 0.2;
constexpr std::size_t kThinBy = 4;

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

}  // namespace

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
    const double angle = std::atan2(fy, fx), position = (angle < 0 ? angle + std::numbers::pi : angle) /
                                                        std::numbers::pi * kContentAngles;
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

template Normal evaluate<BlurShape::none>(const Places&, const Vector&, bool);
template Normal evaluate<BlurShape::motion>(const Places&, const Vector&, bool);
template Normal evaluate<BlurShape::disc>(const Places&, const Vector&, bool);

}  // namespace lookdown::cull
