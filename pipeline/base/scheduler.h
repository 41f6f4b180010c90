// Runs work over frames on oneTBB within a memory budget. The result does not depend on the number of
// threads: work on one frame sees only that frame, and results are handed over in the order of the record.
#pragma once

#include <atomic>
#include <cstddef>
#include <cstdint>
#include <functional>
#include <memory>
#include <optional>
#include <string>

#include "pipeline/base/result.h"

namespace lookdown {

class Progress;

/// Thread count and memory for a whole run.
struct Resources {
  int threads = 0;  ///< 0 = all cores
  std::int64_t memory_bytes = 2'000'000'000;
};

/// Owns the thread limit for as long as it lives (tbb::global_control).
class Scheduler {
 public:
  explicit Scheduler(Resources resources);
  ~Scheduler();
  Scheduler(const Scheduler&) = delete;
  Scheduler& operator=(const Scheduler&) = delete;

  [[nodiscard]] int threads() const;
  [[nodiscard]] std::int64_t memory_bytes() const;
  /// Frames that may be in flight at once when each takes `peak_bytes` at most: at least 1, at most 2 a
  /// thread.
  [[nodiscard]] int frames_in_flight(std::int64_t peak_bytes) const;

  /// Calls work(i) for i in 0..count-1 in parallel, then take(i, fault) in order from one thread at a time.
  /// What work throws arrives as the frame's `fault`, whichever library threw it: one bad file never ends a
  /// flight. Only what no other frame could do better about stops the run and is rethrown: WriteError (the
  /// disk), std::bad_alloc, and exceptions of `take`. A request to stop (`stop_requested`) ends the loop with
  /// Stopped.
  void for_each_frame(std::size_t count, std::int64_t peak_bytes,
                      const std::function<void(std::size_t)>& work,
                      const std::function<void(std::size_t, const std::optional<Fault>&)>& take) const;

  /// Faults that `for_each_frame` has handed over so far. What was made while the count rose lacks something.
  [[nodiscard]] std::int64_t faults_met() const { return faults_met_; }

 private:
  struct Limit;
  std::unique_ptr<Limit> limit_;
  Resources resources_;
  mutable std::atomic<std::int64_t> faults_met_{0};
};

/// Thrown when the person asked to stop (Ctrl-C). What was finished is in the cache.
struct Stopped {};
/// Makes SIGINT and SIGTERM set the flag that for_each_frame and long loops look at.
void stop_on_signals();
[[nodiscard]] bool stop_requested();
/// Throws Stopped if asked to.
void stop_if_requested();

}  // namespace lookdown
