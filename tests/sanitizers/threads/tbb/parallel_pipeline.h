#pragma once

#include <condition_variable>
#include <map>

#include "tbb/workers.h"

namespace tbb {

enum class filter_mode { parallel, serial_in_order };

class flow_control {
 public:
  void stop() { stopped_ = true; }
  [[nodiscard]] bool stopped() const { return stopped_; }

 private:
  bool stopped_ = false;
};

namespace stand_in {

template <class In, class Out>
struct Filter {
  filter_mode mode;
  std::function<Out(In)> work;
};
template <class Out>
struct Filter<void, Out> {
  filter_mode mode;
  std::function<Out(flow_control&)> work;
};

/// A source that numbers what it draws and work on it; then what takes the results in that order.
template <class Item, class Made>
struct SourceAndWork {
  std::function<Item(flow_control&)> draw;
  std::function<Made(Item)> work;
};
template <class Item, class Made>
struct Pipeline {
  SourceAndWork<Item, Made> made_by;
  std::function<void(Made)> take;
};

template <class Item, class Made>
SourceAndWork<Item, Made> operator&(const Filter<void, Item>& source, const Filter<Item, Made>& work) {
  return {source.work, work.work};
}
template <class Item, class Made>
Pipeline<Item, Made> operator&(const SourceAndWork<Item, Made>& made_by, const Filter<Made, void>& taker) {
  return {made_by, taker.work};
}

/// Draws one at a time, works on several at once, and hands over in the order of drawing, one at a time.
template <class Item, class Made>
class PipelineRun {
 public:
  PipelineRun(const Pipeline<Item, Made>& pipeline, std::size_t most_in_flight)
      : pipeline_(pipeline), most_in_flight_(most_in_flight) {}

  void run() {
    run_on_threads(threads_for(most_in_flight_), failed_, [this] {
      try {
        while (one_more()) hand_over_what_is_due();
      } catch (...) {
        give_up();
        throw;
      }
    });
  }

 private:
  void give_up() {
    const std::lock_guard lock(drawing_);
    failed_ = true;
    room_.notify_all();
  }

  bool one_more() {
    std::unique_lock lock(drawing_);
    room_.wait(lock, [this] { return drawn_ - taken_ < most_in_flight_ || stopped_ || failed_; });
    if (stopped_ || failed_) return false;
    flow_control flow;
    const Item item = pipeline_.made_by.draw(flow);
    if (flow.stopped()) {
      stopped_ = true;
      room_.notify_all();
      return false;
    }
    const std::size_t number = drawn_++;
    lock.unlock();
    Made made = pipeline_.made_by.work(item);
    lock.lock();
    waiting_.emplace(number, std::move(made));
    return true;
  }

  void hand_over_what_is_due() {
    const std::lock_guard turn(taking_);
    while (true) {
      std::unique_lock lock(drawing_);
      const auto due = waiting_.find(taken_);
      if (due == waiting_.end()) return;
      Made made = std::move(due->second);
      waiting_.erase(due);
      lock.unlock();
      pipeline_.take(std::move(made));
      lock.lock();
      ++taken_;
      room_.notify_all();
    }
  }

  const Pipeline<Item, Made>& pipeline_;
  std::size_t most_in_flight_, drawn_ = 0, taken_ = 0;
  bool stopped_ = false;
  std::atomic<bool> failed_{false};
  std::map<std::size_t, Made> waiting_;
  std::mutex drawing_, taking_;
  std::condition_variable room_;
};

}  // namespace stand_in

template <class In, class Out, class Work>
stand_in::Filter<In, Out> make_filter(filter_mode mode, const Work& work) {
  return {mode, std::cref(work)};
}

template <class Item, class Made>
void parallel_pipeline(std::size_t most_in_flight, const stand_in::Pipeline<Item, Made>& pipeline) {
  stand_in::PipelineRun<Item, Made>(pipeline, most_in_flight).run();
}

}  // namespace tbb
