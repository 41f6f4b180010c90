#include "stages/glare/water/learned_look.h"

#include <Eigen/Cholesky>
#include <algorithm>
#include <cmath>

namespace lookdown::glare {
namespace {

constexpr auto kNumbers = static_cast<Eigen::Index>(kLookNumbers);
constexpr Eigen::Index kTerms = 1 + kNumbers + kNumbers * (kNumbers + 1) / 2;

// Mean and standard deviation of each number of the looks.
void measure_spread(const std::vector<Look>& looks, Eigen::VectorXd& mean, Eigen::VectorXd& spread) {
  Eigen::VectorXd sum = Eigen::VectorXd::Zero(kNumbers), squares = sum;
  for (const Look& look : looks) {
    const Eigen::VectorXd numbers =
        Eigen::Map<const Eigen::Matrix<float, kNumbers, 1>>(look.data()).cast<double>();
    sum += numbers;
    squares += numbers.cwiseAbs2();
  }
  const double count = static_cast<double>(looks.size());
  mean = sum / count;
  spread = (squares / count - mean.cwiseAbs2()).cwiseMax(1e-6).cwiseSqrt();
}

}  // namespace

void LookSamples::add(const LookSamples& other, double log_exposure) {
  for (const Look& look : other.looks) looks.push_back(at_mean_exposure(look, log_exposure));
  weights.insert(weights.end(), other.weights.begin(), other.weights.end());
  water.insert(water.end(), other.water.begin(), other.water.end());
}

Eigen::VectorXd LearnedLook::terms(const Look& look) const {
  constexpr double kMost = 4;  // standard deviations; beyond, squares would run away
  const Eigen::VectorXd x =
      ((Eigen::Map<const Eigen::Matrix<float, kNumbers, 1>>(look.data()).cast<double>() - mean_)
           .cwiseQuotient(spread_))
          .cwiseMax(-kMost)
          .cwiseMin(kMost);
  Eigen::VectorXd all(kTerms);
  Eigen::Index next = 0;
  all(next++) = 1;
  for (Eigen::Index i = 0; i < kNumbers; ++i) all(next++) = x(i);
  for (Eigen::Index i = 0; i < kNumbers; ++i)
    for (Eigen::Index j = i; j < kNumbers; ++j) all(next++) = x(i) * x(j);
  return all;
}

std::optional<LearnedLook> LearnedLook::from(const LookSamples& samples) {
  constexpr double kLeastPatches = 30;  // of each kind, two for three terms
  constexpr double kRidge =
      3e-4;  // of the mean log-likelihood a squared weight; 1e-4 to 1e-3 are within 0.004 of IoU
  constexpr int kMostSteps = 12;
  constexpr double kStill = 1e-4;
  constexpr std::size_t kMostSamples = 60000;  // more hardly tell more
  double water = 0, ground = 0;
  for (std::size_t i = 0; i < samples.looks.size(); ++i)
    (samples.water[i] ? water : ground) += samples.weights[i];
  if (std::min(water, ground) < kLeastPatches) return std::nullopt;

  LearnedLook learned;
  measure_spread(samples.looks, learned.mean_, learned.spread_);
  const std::size_t step = samples.looks.size() / kMostSamples + 1,
                    count = (samples.looks.size() + step - 1) / step;
  // Single precision is ample for sums whose steps end at a ten-thousandth, and takes half the time.
  Eigen::MatrixXf terms(kTerms, static_cast<Eigen::Index>(count));
  Eigen::VectorXf weight(static_cast<Eigen::Index>(count)), truth(weight.size());
  for (std::size_t i = 0; i < count; ++i) {
    const auto column = static_cast<Eigen::Index>(i);
    terms.col(column) = learned.terms(samples.looks[i * step]).cast<float>();
    weight(column) = samples.weights[i * step];
    truth(column) = static_cast<float>(samples.water[i * step]);
  }
  weight /= weight.sum();
  Eigen::VectorXd ridge = Eigen::VectorXd::Constant(kTerms, 2 * kRidge);
  ridge(0) = 1e-9;
  learned.weights_ = Eigen::VectorXd::Zero(kTerms);
  for (int i = 0; i < kMostSteps; ++i) {
    const Eigen::ArrayXf share =
        1 / (1 + (-(terms.transpose() * learned.weights_.cast<float>()).array()).exp());
    const Eigen::VectorXd slope =
        (terms * (weight.array() * (share - truth.array())).matrix()).cast<double>() +
        ridge.cwiseProduct(learned.weights_);
    const Eigen::ArrayXf curvature = weight.array() * (share * (1 - share)).max(1e-6f);
    Eigen::MatrixXd matrix = (terms * curvature.matrix().asDiagonal() * terms.transpose()).cast<double>();
    matrix.diagonal() += ridge;
    const Eigen::VectorXd change = matrix.ldlt().solve(slope);
    learned.weights_ -= change;
    if (change.norm() < kStill * (1 + learned.weights_.norm())) break;
  }
  return learned;
}

std::vector<float> LearnedLook::log_odds(const std::vector<Look>& looks) const {
  std::vector<float> odds(looks.size());
  std::transform(looks.begin(), looks.end(), odds.begin(),
                 [&](const Look& look) { return static_cast<float>(weights_.dot(terms(look))); });
  return odds;
}

}  // namespace lookdown::glare
