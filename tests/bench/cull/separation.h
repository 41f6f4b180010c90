// How well a number separates two groups.
#pragma once

#include <vector>

namespace lookdown::bench {

/// Area under the receiver operating curve: chance that a random member of `high` exceeds one of `low`, ties
/// count half.
[[nodiscard]] double area_under_curve(const std::vector<double>& high, const std::vector<double>& low);

struct BalancedLimit {
  double accuracy = 0;  ///< mean of the shares of `high` above and of `low` at or below the limit
  double limit = 0;
};
/// The limit that separates best.
[[nodiscard]] BalancedLimit best_balanced(const std::vector<double>& high, const std::vector<double>& low);

/// Median; NaN when empty.
[[nodiscard]] double median(std::vector<double> values);

}  // namespace lookdown::bench
