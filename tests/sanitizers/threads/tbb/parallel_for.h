#pragma once

#include "tbb/workers.h"

namespace tbb {

/// Calls body(i) for first <= i < last, each once, on several threads and in any order.
template <class Index, class Body>
void parallel_for(Index first, Index last, const Body& body) {
  if (!(first < last)) return;
  std::atomic<Index> next{first};
  std::atomic<bool> failed{false};
  stand_in::run_on_threads(stand_in::threads_for(static_cast<std::size_t>(last - first)), failed, [&] {
    while (!failed) {
      const Index i = next.fetch_add(1);
      if (!(i < last)) return;
      body(i);
    }
  });
}

}  // namespace tbb
