// Work in a process of its own, with what it took.
#pragma once

#include <functional>

namespace lookdown::bench {

struct Cost {
  double wall_s = 0;
  double cpu_s = 0;  ///< user and system, all threads; hardly disturbed by what else the machine does
  double peak_mb = 0;
  bool done = false;
};

/// Runs `work` in a child process and waits for it; `work` returns the exit code.
[[nodiscard]] Cost cost_of(const std::function<int()>& work);

}  // namespace lookdown::bench
