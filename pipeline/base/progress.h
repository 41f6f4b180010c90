// One line on a terminal: stage, percent, count, time left. Quiet when the error stream is not a terminal.
#pragma once

#include <chrono>
#include <cstddef>
#include <string>

namespace lookdown {

class Progress {
 public:
  /// `shown` = false draws nothing.
  explicit Progress(bool shown) : shown_(shown) {}
  /// True when standard error is a terminal.
  static bool terminal();
  void start(const std::string& stage, std::size_t total);
  void step(std::size_t done);
  void finish();

 private:
  bool shown_;
  std::string stage_;
  std::size_t total_ = 0;
  std::chrono::steady_clock::time_point started_, drawn_;
};

}  // namespace lookdown
