#include "pipeline/base/scheduler.h"

#include <gtest/gtest.h>

#include <atomic>
#include <stdexcept>
#include <thread>
#include <vector>

#include "pipeline/imaging/frame_reader.h"

namespace lookdown {
namespace {

TEST(Scheduler, HandsResultsOverInOrderForAnyNumberOfThreads) {
  for (const int threads : {1, 2, 8}) {
    const Scheduler scheduler({threads, 1'000'000'000});
    std::vector<int> squares(200);
    std::vector<std::size_t> order;
    scheduler.for_each_frame(
        200, 1000,
        [&](std::size_t i) {
          if (i % 7 == 0) std::this_thread::sleep_for(std::chrono::microseconds(200));
          squares[i] = static_cast<int>(i * i);
        },
        [&](std::size_t i, const std::optional<Fault>&) { order.push_back(i); });
    ASSERT_EQ(order.size(), 200U);
    for (std::size_t i = 0; i < 200; ++i) {
      EXPECT_EQ(order[i], i);
      EXPECT_EQ(squares[i], static_cast<int>(i * i));
    }
  }
}

TEST(Scheduler, OneFramesFaultDoesNotEndTheFlight) {
  const Scheduler scheduler({2, 1'000'000'000});
  std::vector<std::size_t> faulty, sound;
  scheduler.for_each_frame(
      50, 1000,
      [](std::size_t i) {
        if (i == 40) throw FrameFault{{"test", "frame 40", "is broken", ""}};
      },
      [&](std::size_t i, const std::optional<Fault>& fault) { (fault ? faulty : sound).push_back(i); });
  EXPECT_EQ(faulty, std::vector<std::size_t>{40});
  EXPECT_EQ(sound.size(), 49U);
}

TEST(Scheduler, OtherExceptionsEndTheRun) {
  const Scheduler scheduler({2, 1'000'000'000});
  EXPECT_THROW(scheduler.for_each_frame(
                   10, 1000,
                   [](std::size_t i) {
                     if (i == 3) throw std::logic_error("broken program");
                   },
                   [](std::size_t, const std::optional<Fault>&) {}),
               std::logic_error);
}

TEST(Scheduler, NeverHoldsMoreFramesThanTheMemoryAllows) {
  const Scheduler scheduler({8, 300});
  EXPECT_EQ(scheduler.frames_in_flight(100), 3);
  EXPECT_EQ(scheduler.frames_in_flight(1000), 1);
  std::atomic<int> live{0}, most{0};
  scheduler.for_each_frame(
      60, 100,
      [&](std::size_t) {
        const int now = ++live;
        int seen = most.load();
        while (now > seen && !most.compare_exchange_weak(seen, now)) {
        }
        std::this_thread::sleep_for(std::chrono::microseconds(300));
        --live;
      },
      [](std::size_t, const std::optional<Fault>&) {});
  EXPECT_LE(most.load(), 3);
}

}  // namespace
}  // namespace lookdown
