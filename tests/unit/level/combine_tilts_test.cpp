#include <gtest/gtest.h>

#include <cmath>
#include <numbers>

#include "pipeline/base/angles.h"
#include "pipeline/geometry/pose.h"
#include "stages/level/level.h"

namespace lookdown::level {
namespace {

Tilt tilt(double off_nadir_deg, double sigma_deg, const char* from) {
  Tilt t;
  t.down_in_camera = {0, std::sin(off_nadir_deg * kDegree), std::cos(off_nadir_deg * kDegree)};
  t.off_nadir_deg = off_nadir_deg;
  t.sigma_deg = sigma_deg;
  t.from = from;
  return t;
}

FlightRecord one_frame(std::vector<Tilt> sources) {
  FlightRecord record;
  record.frames.emplace_back();
  record.frames.front().tilt_sources = std::move(sources);
  return record;
}

// Weights 1 / sigma^2: (10 / 1 + 16 / 4) / (1 / 1 + 1 / 4) = 11.2 degrees, sigma 1 / sqrt(1.25) = 0.894;
// derived.
TEST(CombineTilts, AgreeingSourcesAreWeightedByTheirUncertainty) {
  FlightRecord record = one_frame({tilt(10, 1, "verticals"), tilt(16, 2, "parallels")});
  combine_tilts(record);
  ASSERT_TRUE(record.frames.front().tilt);
  EXPECT_NEAR(record.frames.front().tilt->off_nadir_deg, 11.2, 0.01);
  EXPECT_NEAR(record.frames.front().tilt->sigma_deg, 1 / std::sqrt(1.25), 1e-9);
  EXPECT_EQ(record.frames.front().tilt->from, "verticals");
}

TEST(CombineTilts, ASourceThatContradictsTheSurestIsLeftOut) {
  FlightRecord record = one_frame({tilt(5, 0.5, "placement"), tilt(40, 1, "parallels")});
  record.frames.front().tilt_sources.front().from = "verticals";
  combine_tilts(record);
  EXPECT_NEAR(record.frames.front().tilt->off_nadir_deg, 5, 1e-6);
}

TEST(CombineTilts, APlacedFrameThatLooksDownCannotShowAHorizon) {
  FlightRecord record = one_frame({tilt(80, 0.2, "horizon")});
  FrameRecord& frame = record.frames.front();
  frame.horizon = Horizon{};
  frame.horizon->pitch_deg = -10;
  frame.placement.placed = true;
  frame.placement.pose = straight_down({0, 0, 30});
  frame.placement.off_nadir_sigma_deg = 0.3;
  combine_tilts(record);
  EXPECT_FALSE(frame.horizon);
  ASSERT_TRUE(frame.tilt);
  EXPECT_EQ(frame.tilt->from, "placement");
  EXPECT_NEAR(frame.tilt->off_nadir_deg, 0, 1e-6);
}

TEST(CombineTilts, WithoutSourcesTheTiltIsNotKnown) {
  FlightRecord record = one_frame({});
  combine_tilts(record);
  EXPECT_FALSE(record.frames.front().tilt);
}

TEST(CombineTilts, DoingItTwiceChangesNothing) {
  FlightRecord record = one_frame({tilt(10, 1, "verticals")});
  record.frames.front().placement.placed = true;
  record.frames.front().placement.pose = straight_down({0, 0, 30});
  combine_tilts(record);
  const auto first = record.frames.front().tilt_sources.size();
  combine_tilts(record);
  EXPECT_EQ(record.frames.front().tilt_sources.size(), first);
}

}  // namespace
}  // namespace lookdown::level
