#pragma once

#include <array>

#include "tbb/parallel_for.h"

namespace tbb {

/// Calls each of them once, at the same time.
template <class... Work>
void parallel_invoke(const Work&... work) {
  const std::array<std::function<void()>, sizeof...(Work)> all{std::cref(work)...};
  parallel_for(std::size_t{0}, all.size(), [&](std::size_t i) { all[i](); });
}

}  // namespace tbb
