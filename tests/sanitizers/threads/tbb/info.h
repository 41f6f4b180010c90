#pragma once

#include <thread>

namespace tbb::info {

inline int default_concurrency() {
  return static_cast<int>(std::max(1U, std::thread::hardware_concurrency()));
}

}  // namespace tbb::info
