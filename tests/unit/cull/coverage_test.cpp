// The fewest frames that cover.
#include "stages/cull/selection/set_cover.h"

#include <gtest/gtest.h>
#include <unistd.h>

#include <filesystem>
#include <fstream>

#include "stages/cull/selection/export.h"

namespace lookdown {
namespace {

/// A frame of 100 x 100 px that lies at (x, y) on the mosaic, `size` times as large.
FrameRecord square_at(double x, double y, double size = 1) {
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
  flight.frames = {square_at(10, 10),    square_at(0, 0, 2), square_at(60, 60),
                   square_at(200, 0, 2), square_at(250, 20), square_at(230, 80)};
  const auto coverage = cull::fewest_frames(flight, 1);
  EXPECT_EQ(coverage.chosen.size(), 2U);
  EXPECT_DOUBLE_EQ(coverage.covered_share, 1);
  EXPECT_EQ(coverage.least_possible, 2);
}

TEST(FewestFrames, BoundIsNeverAboveWhatWasChosen) {
  FlightRecord flight;
  for (int i = 0; i < 30; ++i) flight.frames.push_back(square_at(17 * i, (i * 37) % 60));
  for (const int times : {1, 2, 3}) {
    const auto coverage = cull::fewest_frames(flight, times);
    EXPECT_DOUBLE_EQ(coverage.covered_share, 1);
    EXPECT_LE(coverage.least_possible, static_cast<int>(coverage.chosen.size()));
    EXPECT_GT(coverage.least_possible, 0);
  }
}

TEST(FewestFrames, MoreTimesNeedMoreFrames) {
  FlightRecord flight;
  for (int i = 0; i < 20; ++i) flight.frames.push_back(square_at(10 * i, 0));
  EXPECT_LT(cull::fewest_frames(flight, 1).chosen.size(), cull::fewest_frames(flight, 2).chosen.size());
}

TEST(FewestFrames, AShareNeedsFewerFrames) {
  FlightRecord flight;
  for (int i = 0; i < 20; ++i) flight.frames.push_back(square_at(50 * i, 0));
  const auto part = cull::fewest_frames(flight, 1, 0.5);
  EXPECT_GE(part.covered_share, 0.5);
  EXPECT_LT(part.chosen.size(), cull::fewest_frames(flight, 1).chosen.size());
}

TEST(FewestFrames, OnlyKeptAndPlacedFramesCount) {
  FlightRecord flight;
  flight.frames = {square_at(0, 0), square_at(500, 0)};
  flight.frames[1].decision.verdict = Verdict::drop;
  const auto coverage = cull::fewest_frames(flight, 1);
  EXPECT_EQ(coverage.chosen, std::vector<int>{0});
}

TEST(FewestFrames, RecordSaysWhichFramesAreNeeded) {
  FlightRecord flight;
  flight.frames = {square_at(10, 10), square_at(0, 0, 2), square_at(200, 0, 2)};
  cull::mark_fewest_frames(flight, 1, 1);
  EXPECT_TRUE(cull::covered_by_others(flight.frames[0].decision));
  EXPECT_FALSE(cull::covered_by_others(flight.frames[1].decision));
  ASSERT_EQ(flight.warnings.size(), 1U);
  EXPECT_EQ(flight.warnings[0],
            "2 of 3 kept frames see all the ground that all of them see, at least once; no set of fewer than "
            "2 can.");
}

class Collecting : public testing::Test {
 protected:
  void SetUp() override {
    std::filesystem::remove_all(folder_);
    std::filesystem::create_directories(folder_);
    for (const char* name : {"a.jpg", "b.jpg"}) {
      std::ofstream(folder_ / name) << "pixels of " << name;
      FrameRecord frame;
      frame.source.file = name;
      frame.source.stem = std::filesystem::path(name).stem().string();
      frame.source.path = folder_ / name;
      frame.decision.verdict = std::string(name) == "a.jpg" ? Verdict::keep : Verdict::drop;
      flight_.frames.push_back(frame);
    }
  }
  void TearDown() override { std::filesystem::remove_all(folder_); }

  std::filesystem::path folder_ =
      std::filesystem::temp_directory_path() / ("lookdown_collect_" + std::to_string(getpid()));
  FlightRecord flight_;
};

TEST_F(Collecting, PutsTheKeptFramesAndLeavesTheOriginals) {
  for (const std::string how : {"copy", "hardlink", "symlink"}) {
    cull::Options options;
    options.collect = how;
    const auto target = folder_ / how;
    cull::export_kept(flight_, options, target);
    EXPECT_TRUE(std::filesystem::exists(target / "a.jpg")) << how;
    EXPECT_FALSE(std::filesystem::exists(target / "b.jpg")) << how;
    EXPECT_EQ(std::filesystem::is_symlink(target / "a.jpg"), how == "symlink");
    EXPECT_EQ(std::filesystem::file_size(folder_ / "a.jpg"), 15U);
  }
  EXPECT_TRUE(flight_.warnings.empty());
}

TEST_F(Collecting, NeverReplacesAFileThatHoldsSomethingElse) {
  const auto target = folder_ / "kept";
  std::filesystem::create_directories(target);
  std::ofstream(target / "a.jpg") << "mine";
  cull::Options options;
  options.collect = "copy";
  cull::export_kept(flight_, options, target);
  EXPECT_EQ(std::filesystem::file_size(target / "a.jpg"), 4U);
  EXPECT_EQ(flight_.warnings.size(), 1U);
}

}  // namespace
}  // namespace lookdown
