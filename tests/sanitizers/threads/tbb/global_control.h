#pragma once

#include "tbb/workers.h"

namespace tbb {

/// Limits the threads of every loop for as long as it lives.
class global_control {
 public:
  enum parameter { max_allowed_parallelism };
  global_control(parameter, std::size_t threads) : before_(stand_in::most_threads.exchange(threads)) {}
  ~global_control() { stand_in::most_threads = before_; }
  global_control(const global_control&) = delete;
  global_control& operator=(const global_control&) = delete;

 private:
  std::size_t before_;
};

}  // namespace tbb
