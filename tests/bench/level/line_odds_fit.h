// Weights of the evidence by which one line of a picture, or none, is told to be its horizon.
#pragma once

#include <Eigen/Core>
#include <vector>

#include "tests/bench/level/horizon_examples.h"

namespace lookdown::level {

struct FitSettings {
  double spread = 0.3;    ///< standard deviation of the prior, for terms in units of their own
  double false_cost = 3;  ///< what a picture without a horizon counts: a false one is worse than a missed one
  double of_other_light = 1;  ///< what a picture in other light counts
};

/// Over the examples that `used` tells. One line of a picture is right, or none is: the probability of each
/// is its share of the exponentials of all sums, with a sum of 0 for none (multinomial logistic regression;
/// Bishop, Pattern Recognition and Machine Learning, 4.3.4). Largest posterior, with a normal prior about 0
/// for what each weight makes of its term's spread; by Newton's method. A term that is the same everywhere
/// gets 0.
[[nodiscard]] Eigen::VectorXd fitted(const std::vector<Example>&, const std::vector<char>& used,
                                     const FitSettings&);

}  // namespace lookdown::level
