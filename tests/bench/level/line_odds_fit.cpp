#include "tests/bench/level/line_odds_fit.h"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>

namespace lookdown::level {
namespace {

constexpr double kPrecisionOfConstant = 0.01;
constexpr double kNoSpread = 1e-9, kHeldAtZero = 1e12;  ///< of terms that are the same everywhere

/// Of the prior of each weight: one over the variance that makes a term's spread count `spread`.
Eigen::VectorXd prior_precision(const std::vector<Example>& examples, double spread) {
  Eigen::VectorXd sum = Eigen::VectorXd::Zero(kEvidenceTerms), squares = sum;
  double lines = 0;
  for (const Example& e : examples) {
    sum += e.terms.colwise().sum().transpose();
    squares += e.terms.colwise().squaredNorm().transpose();
    lines += static_cast<double>(e.terms.rows());
  }
  const Eigen::VectorXd mean = sum / lines;
  Eigen::VectorXd precision = (squares / lines - mean.cwiseAbs2()) / (spread * spread);
  for (double& p : precision)
    if (p < kNoSpread) p = kHeldAtZero;
  precision(0) = kPrecisionOfConstant;
  return precision;
}

/// Shares of the lines, and of none in the last place.
Eigen::VectorXd probabilities(const Eigen::VectorXd& sums) {
  Eigen::VectorXd all(sums.size() + 1);
  all << sums, 0;
  all = (all.array() - all.maxCoeff()).exp();
  return all / all.sum();
}

/// One step of Newton's method over the examples that `used` tells; the largest change of a weight.
double improve(const std::vector<Example>& examples, const std::vector<char>& used, const FitSettings& s,
               const Eigen::VectorXd& precision, Eigen::VectorXd& weights) {
  Eigen::VectorXd gradient = -precision.cwiseProduct(weights);
  Eigen::MatrixXd curvature = precision.asDiagonal();
  for (std::size_t i = 0; i < examples.size(); ++i) {
    const Example& e = examples[i];
    if (!used[i] || e.terms.rows() == 0) continue;
    const Eigen::VectorXd p = probabilities(e.terms * weights).head(e.terms.rows());
    Eigen::VectorXd wanted = Eigen::VectorXd::Zero(e.terms.rows());
    if (e.has_horizon) {
      wanted = p.cwiseProduct(e.likelihood);
      if (wanted.sum() < 1e-300) continue;  // the right line was not tried
      wanted /= wanted.sum();
    }
    const double cost = (e.has_horizon ? 1 : s.false_cost) * (e.other_light ? s.of_other_light : 1);
    gradient += cost * (e.terms.transpose() * (wanted - p));
    const Eigen::VectorXd mean = e.terms.transpose() * p;
    curvature += cost * (e.terms.transpose() * p.asDiagonal() * e.terms - mean * mean.transpose());
  }
  const Eigen::VectorXd step = curvature.ldlt().solve(gradient);
  weights += step * std::min(1.0, 3 / step.cwiseAbs().maxCoeff());
  return step.cwiseAbs().maxCoeff();
}

}  // namespace

Eigen::VectorXd fitted(const std::vector<Example>& examples, const std::vector<char>& used,
                       const FitSettings& s) {
  const Eigen::VectorXd precision = prior_precision(examples, s.spread);
  Eigen::VectorXd weights = Eigen::VectorXd::Zero(kEvidenceTerms);
  for (int step = 0; step < 200; ++step)
    if (improve(examples, used, s, precision, weights) < 1e-8) break;
  return (precision.array() < kHeldAtZero).select(weights, 0);
}

}  // namespace lookdown::level
