// Order statistics that single outliers do not move. Of an even number of values the median is the upper of
// the two in the middle: one that occurs, so that whole numbers stay whole.
#pragma once

#include <algorithm>
#include <cstddef>
#include <vector>

namespace lookdown {

/// Standard deviation of a normal distribution over its median absolute deviation: 1 / quantile(3/4).
inline constexpr double kSigmaOfMad = 1.4826;

/// The value below which a `fraction` (0..1) of the values lie: the one at index floor(fraction * count) of
/// the sorted values, the greatest for a fraction of 1. Of no values: `if_empty`. Reorders `values`.
template <class T>
[[nodiscard]] T quantile_in_place(std::vector<T>& values, double fraction, T if_empty = T{}) {
  if (values.empty()) return if_empty;
  const auto last = static_cast<std::ptrdiff_t>(values.size()) - 1;
  const auto index = static_cast<std::ptrdiff_t>(fraction * static_cast<double>(values.size()));
  const auto at = values.begin() + std::clamp<std::ptrdiff_t>(index, 0, last);
  std::nth_element(values.begin(), at, values.end());
  return *at;
}

template <class T>
[[nodiscard]] T quantile(std::vector<T> values, double fraction, T if_empty = T{}) {
  return quantile_in_place(values, fraction, if_empty);
}

template <class T>
[[nodiscard]] T median_in_place(std::vector<T>& values, T if_empty = T{}) {
  return quantile_in_place(values, 0.5, if_empty);
}

template <class T>
[[nodiscard]] T median(std::vector<T> values, T if_empty = T{}) {
  return quantile_in_place(values, 0.5, if_empty);
}

}  // namespace lookdown
