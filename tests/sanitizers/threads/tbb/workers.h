// What the stand-in's loops share: how many threads they may use, and threads that end before the loop does.
#pragma once

#include <algorithm>
#include <atomic>
#include <cstddef>
#include <exception>
#include <functional>
#include <mutex>
#include <thread>
#include <vector>

namespace tbb::stand_in {

inline std::atomic<std::size_t> most_threads{0};  ///< 0: one a core

inline std::size_t threads_for(std::size_t pieces_of_work) {
  const std::size_t limit = most_threads.load();
  const std::size_t most = limit > 0 ? limit : std::max(1U, std::thread::hardware_concurrency());
  return std::min(most, pieces_of_work);
}

/// Calls `work` once on each of so many threads and waits for all. The first exception is thrown again here;
/// `failed` is set when it is met, so that the others can end early.
inline void run_on_threads(std::size_t count, std::atomic<bool>& failed, const std::function<void()>& work) {
  std::exception_ptr first;
  std::mutex keep;
  const auto guarded = [&] {
    try {
      work();
    } catch (...) {
      const std::lock_guard lock(keep);
      if (!first) first = std::current_exception();
      failed = true;
    }
  };
  if (count <= 1) {
    guarded();
  } else {
    std::vector<std::jthread> threads;
    for (std::size_t i = 0; i < count; ++i) threads.emplace_back(guarded);
  }
  if (first) std::rethrow_exception(first);
}

}  // namespace tbb::stand_in
