#include "separation.h"

#include <algorithm>
#include <limits>
#include <utility>

namespace lookdown::bench {

double area_under_curve(const std::vector<double>& high, const std::vector<double>& low) {
  std::vector<double> sorted = low;
  std::sort(sorted.begin(), sorted.end());
  double sum = 0;
  for (double value : high) {
    const auto [first, last] = std::equal_range(sorted.begin(), sorted.end(), value);
    sum += static_cast<double>(first - sorted.begin()) + 0.5 * static_cast<double>(last - first);
  }
  return high.empty() || low.empty()
             ? std::numeric_limits<double>::quiet_NaN()
             : sum / (static_cast<double>(high.size()) * static_cast<double>(low.size()));
}

BalancedLimit best_balanced(const std::vector<double>& high, const std::vector<double>& low) {
  std::vector<std::pair<double, bool>> all;
  for (double value : high) all.emplace_back(value, true);
  for (double value : low) all.emplace_back(value, false);
  std::sort(all.begin(), all.end());
  BalancedLimit best;
  double below_low = 0, below_high = 0;
  for (std::size_t i = 0; i < all.size(); ++i) {
    (all[i].second ? below_high : below_low) += 1;
    if (i + 1 < all.size() && all[i + 1].first == all[i].first) continue;
    const double accuracy = 0.5 * (below_low / low.size() + 1 - below_high / high.size());
    if (accuracy > best.accuracy) best = {accuracy, all[i].first};
  }
  return best;
}

double median(std::vector<double> values) {
  if (values.empty()) return std::numeric_limits<double>::quiet_NaN();
  const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
  std::nth_element(values.begin(), middle, values.end());
  return *middle;
}

}  // namespace lookdown::bench
