// The fewest frames that cover.
#include "stages/cull/coverage.h"

#include <gtest/gtest.h>

namespace lookdown {
namespace {

/// A frame of 100 x 100 px that lies at (x, y) on the mosaic, `size` times as large.
FrameRecord lying_at(double x, double y, double size = 1) {
  FrameRecord frame;
  frame.source.width_px = frame.source.height_px = 100;
  frame.decision.verdict = Verdict::keep;
  frame.placement.placed = true;
  frame.placement.group = 0;
  frame.placement.camera.width_px = frame.placement.camera.height_px = 100;
  frame.placement.camera.fx_px = frame.placement.camera.fy_px = 100;
  frame.placement.mosaic_from_frame.matrix << size, 0, x, 0, size, y, 0, 0, 1;
  return frame;
}

TEST(FewestFrames, FramesThatOthersCoverAreLeftOut) {
  FlightRecord flight;
  // Two large frames see everything; four small ones lie inside them.
  flight.frames = {lying_at(10, 10), lying_at(0, 0, 2), lying_at(60, 60), lying_at(200, 0, 2), lying_at(250, 20), lying_at(230, 80)};
  const auto coverage = cull::fewest_frames(flight, 1);
  EXPECT_EQ(coverage.chosen.size(), 2U);
  EXPECT_DOUBLE_EQ(coverage.covered_share, 1);
  EXPECT_EQ(coverage.least_possible, 2);
}

TEST(FewestFrames, BoundIsNeverAboveWhatWasChosen) {
  FlightRecord flight;
  for (int i = 0; i < 30; ++i) flight.frames.push_back(lying_at(17 * i, (i * 37) % 60));
  for (const int times : {1, 2, 3}) {
    const auto coverage = cull::fewest_frames(flight, times);
    EXPECT_DOUBLE_EQ(coverage.covered_share, 1);
    EXPECT_LE(coverage.least_possible, static_cast<int>(coverage.chosen.size()));
    EXPECT_GT(coverage.least_possible, 0);
  }
}

TEST(FewestFrames, MoreTimesNeedMoreFrames) {
  FlightRecord flight;
  for (int i = 0; i < 20; ++i) flight.frames.push_back(lying_at(10 * i, 0));
  EXPECT_LT(cull::fewest_frames(flight, 1).chosen.size(), cull::fewest_frames(flight, 2).chosen.size());
}

TEST(FewestFrames, AShareNeedsFewerFrames) {
  FlightRecord flight;
  for (int i = 0; i < 20; ++i) flight.frames.push_back(lying_at(50 * i, 0));
  const auto part = cull::fewest_frames(flight, 1, 0.5);
  EXPECT_GE(part.covered_share, 0.5);
  EXPECT_LT(part.chosen.size(), cull::fewest_frames(flight, 1).chosen.size());
}

TEST(FewestFrames, OnlyKeptAndPlacedFramesCount) {
  FlightRecord flight;
  flight.frames = {lying_at(0, 0), lying_at(500, 0)};
  flight.frames[1].decision.verdict = Verdict::drop;
  const auto coverage = cull::fewest_frames(flight, 1);
  EXPECT_EQ(coverage.chosen, std::vector<int>{0});
}

}  // namespace
}  // namespace lookdown
