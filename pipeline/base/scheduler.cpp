#include "pipeline/base/scheduler.h"

#include <fmt/core.h>
#include <tbb/global_control.h>
#include <tbb/info.h>
#include <tbb/parallel_pipeline.h>

#include <algorithm>
#include <atomic>
#include <csignal>
#include <exception>
#include <new>

#include "pipeline/base/files/atomic_file.h"

namespace lookdown {
namespace {

std::atomic<bool> g_stop{false};
static_assert(std::atomic<bool>::is_always_lock_free, "a signal handler may only touch lock-free atomics");

void on_signal(int) {
  g_stop.store(true, std::memory_order_relaxed);
}

struct Outcome {
  std::size_t index = 0;
  std::optional<Fault> fault;
};

}  // namespace

struct Scheduler::Limit {
  explicit Limit(std::size_t threads) : control(tbb::global_control::max_allowed_parallelism, threads) {}
  tbb::global_control control;
};

Scheduler::Scheduler(Resources resources) : resources_(resources) {
  if (resources_.threads <= 0) resources_.threads = std::max(1, tbb::info::default_concurrency());
  limit_ = std::make_unique<Limit>(static_cast<std::size_t>(resources_.threads));
}

Scheduler::~Scheduler() = default;

int Scheduler::threads() const {
  return resources_.threads;
}
std::int64_t Scheduler::memory_bytes() const {
  return resources_.memory_bytes;
}

int Scheduler::frames_in_flight(std::int64_t peak_bytes) const {
  const std::int64_t fit = resources_.memory_bytes / std::max<std::int64_t>(peak_bytes, 1);
  return static_cast<int>(std::clamp<std::int64_t>(fit, 1, 2LL * resources_.threads));
}

void Scheduler::for_each_frame(
    std::size_t count, std::int64_t peak_bytes, const std::function<void(std::size_t)>& work,
    const std::function<void(std::size_t, const std::optional<Fault>&)>& take) const {
  std::size_t next = 0;
  const auto draw_index = [&](tbb::flow_control& flow) -> std::size_t {
    if (next == count || stop_requested()) flow.stop();
    return next == count ? count : next++;
  };
  const auto do_work = [&](std::size_t index) -> Outcome {
    Outcome outcome{index, std::nullopt};
    try {
      work(index);
    } catch (const FrameFault& met) {
      outcome.fault = met.fault;
    } catch (const WriteError&) {
      throw;
    } catch (const std::bad_alloc&) {
      throw;
    } catch (const std::exception& error) {
      // Libraries throw exceptions of their own over one frame's content.
      outcome.fault = Fault{"", "", fmt::format("cannot be worked on ({})", error.what()), ""};
    }
    if (outcome.fault) ++faults_met_;
    return outcome;
  };
  const auto hand_over = [&](const Outcome& outcome) { take(outcome.index, outcome.fault); };
  tbb::parallel_pipeline(static_cast<std::size_t>(frames_in_flight(peak_bytes)),
                         tbb::make_filter<void, std::size_t>(tbb::filter_mode::serial_in_order, draw_index) &
                             tbb::make_filter<std::size_t, Outcome>(tbb::filter_mode::parallel, do_work) &
                             tbb::make_filter<Outcome, void>(tbb::filter_mode::serial_in_order, hand_over));
  stop_if_requested();
}

void stop_on_signals() {
  std::signal(SIGINT, on_signal);
  std::signal(SIGTERM, on_signal);
}

bool stop_requested() {
  return g_stop.load(std::memory_order_relaxed);
}

void stop_if_requested() {
  if (stop_requested()) throw Stopped{};
}

}  // namespace lookdown
