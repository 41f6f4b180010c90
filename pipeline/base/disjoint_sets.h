// Disjoint sets (union-find): which of n things hang together, by links that come one at a time.
#pragma once

#include <cstddef>
#include <numeric>
#include <vector>

namespace lookdown {

/// The representative of a set is its smallest member, so that answers do not depend on the order of links.
class DisjointSets {
 public:
  explicit DisjointSets(std::size_t count) : parent_(count) { std::iota(parent_.begin(), parent_.end(), 0); }

  /// Smallest member of the set that holds `member`.
  [[nodiscard]] std::size_t root_of(std::size_t member) {
    while (parent_[member] != member) member = parent_[member] = parent_[parent_[member]];
    return member;
  }
  /// Makes one set of the two that hold `a` and `b`.
  void join(std::size_t a, std::size_t b) {
    a = root_of(a);
    b = root_of(b);
    if (a < b)
      parent_[b] = a;
    else
      parent_[a] = b;
  }

 private:
  std::vector<std::size_t> parent_;
};

}  // namespace lookdown
