#include "pipeline/base/scheduler.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <atomic>
#include <functional>
#include <new>
#include <opencv2/core.hpp>
#include <stdexcept>
#include <string>
#include <thread>
#include <type_traits>
#include <vector>

#include "pipeline/base/files/atomic_file.h"
#include "pipeline/imaging/frame_reader.h"

namespace lookdown {
namespace {

using testing::AllOf;
using testing::ElementsAre;
using testing::HasSubstr;
using testing::StartsWith;

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

TEST(Scheduler, WhatALibraryThrowsOverOneFrameIsThatFramesFault) {
  const Scheduler scheduler({2, 1'000'000'000});
  std::vector<std::string> faults;
  scheduler.for_each_frame(
      10, 1000,
      [](std::size_t i) {
        if (i == 3) CV_Error(cv::Error::StsBadSize, "no such size");
        if (i == 5) throw std::length_error("too long");
      },
      [&](std::size_t i, const std::optional<Fault>& fault) {
        if (fault) faults.push_back(std::to_string(i) + ": " + fault->message());
      });
  EXPECT_THAT(faults, ElementsAre(AllOf(StartsWith("3: "), HasSubstr("no such size")),
                                  AllOf(StartsWith("5: "), HasSubstr("too long"))));
  EXPECT_EQ(scheduler.faults_met(), 2);
}

TEST(Scheduler, AFullDiskAndALackOfMemoryEndTheRun) {
  const Scheduler scheduler({2, 1'000'000'000});
  const auto run = [&](const std::function<void()>& fail) {
    scheduler.for_each_frame(
        10, 1000, [&](std::size_t i) { i == 3 ? fail() : void(); },
        [](std::size_t, const std::optional<Fault>&) {});
  };
  EXPECT_THROW(run([] { throw WriteError("disk full"); }), WriteError);
  EXPECT_THROW(run([] { throw std::bad_alloc(); }), std::bad_alloc);
}

TEST(FrameFault, CaughtAsAnyOtherExceptionItSaysWhatWasWrong) {
  try {
    throw FrameFault(Fault{"read", "A104.jpg", "ends after 31 of 1067 rows", "copy it again"});
  } catch (const std::exception& error) {
    EXPECT_STREQ(error.what(), "A104.jpg: ends after 31 of 1067 rows; copy it again");
  }
}

// They are kept by reference: a temporary would be gone at the first look.
static_assert(!std::is_constructible_v<FramePixels, const FrameReader&, FrameSource>);
static_assert(!std::is_constructible_v<FramePixels, FrameReader, const FrameSource&>);
static_assert(std::is_constructible_v<FramePixels, const FrameReader&, const FrameSource&>);

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
