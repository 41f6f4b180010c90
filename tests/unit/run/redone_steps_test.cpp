// What a second run does again: only what depends on what has changed. Read from the timings of flight.json,
// which say of each step how many frames it took from the cache.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <fstream>
#include <map>
#include <nlohmann/json.hpp>

#include "program_run.h"
#include "small_card.h"

namespace lookdown {
namespace {

namespace fs = std::filesystem;
using nlohmann::json;

class RedoneSteps : public ::testing::Test {
 protected:
  static void SetUpTestSuite() {
    folder_ = std::make_unique<TemporaryFolder>();
    write_row_of_frames(folder_->path() / "card", 5, 77);
    first_ = contents_of_run({});
  }
  static void TearDownTestSuite() { folder_.reset(); }

  static fs::path out() { return folder_->path() / "out"; }

  static std::map<std::string, std::string> contents_of_run(const std::vector<std::string>& more,
                                                            const std::string& command = "run") {
    std::vector<std::string> words{command, (folder_->path() / "card").string(), "-o", out().string()};
    words.insert(words.end(), more.begin(), more.end());
    const ProgramRun run = run_lookdown(words);
    EXPECT_EQ(run.exit_code, 0) << run.errors;
    return contents_of(out());
  }

  // Steps of the last run that took less than every frame from the cache.
  static std::vector<std::string> redone() {
    std::vector<std::string> steps;
    const json record = json::parse(std::ifstream(out() / "flight.json"));
    for (const json& timing : record.at("timings"))
      if (timing.at("stage") != "inspect" && timing.at("stage") != "report" &&
          timing.at("from_cache") != timing.at("done"))
        steps.push_back(timing.at("stage"));
    return steps;
  }

  static fs::path drop(const std::string& file) {
    const fs::path table = folder_->path() / "choices.csv";
    std::ofstream(table) << "file,verdict\n" << file << ",drop\n";
    return table;
  }

  static inline std::unique_ptr<TemporaryFolder> folder_;
  static inline std::map<std::string, std::string> first_;
};

TEST_F(RedoneSteps, NothingChangedNothingDone) {
  contents_of_run({});
  EXPECT_EQ(redone(), std::vector<std::string>{});
}

TEST_F(RedoneSteps, AFlightThatLiesElsewhereNowIsTheSameFlight) {
  const fs::path there = folder_->path() / "elsewhere" / "card";
  fs::create_directories(there.parent_path());
  fs::rename(folder_->path() / "card", there);
  const ProgramRun run = run_lookdown({"run", there.string(), "-o", out().string()});
  fs::rename(there, folder_->path() / "card");
  ASSERT_EQ(run.exit_code, 0) << run.errors;
  EXPECT_EQ(redone(), std::vector<std::string>{});
  const json record = json::parse(std::ifstream(out() / "flight.json"));
  EXPECT_THAT(record.at("frames").at(0).at("source").at("path").get<std::string>(),
              ::testing::HasSubstr("elsewhere"));
}

TEST_F(RedoneSteps, ALimitOfTheVerdictsMeasuresNoFrameAnew) {
  contents_of_run({"--strictness", "0.4"});
  const auto steps = redone();
  EXPECT_EQ(std::count(steps.begin(), steps.end(), "measure"), 0);
}

TEST_F(RedoneSteps, AFrameThatAPersonDropsLeavesTheMosaicAndNothingIsPlacedAnew) {
  const auto with_choice = contents_of_run({"--choices-file", drop("frame_2.jpg").string()});
  EXPECT_EQ(redone(), std::vector<std::string>{"mosaic"});
  EXPECT_NE(with_choice.at("mosaic.tif"), first_.at("mosaic.tif"));
  EXPECT_EQ(read_frames_table(out() / "frames.csv").at("frame_2.jpg").at("verdict"), "drop");
}

TEST_F(RedoneSteps, TheChoiceTakenBackGivesTheFirstRunsBytes) {
  contents_of_run({"--choices-file", drop("frame_2.jpg").string()});
  const auto again = contents_of_run({});
  for (const char* file : {"mosaic.tif", "mosaic_sources.tif", "placement.json", "frames.csv"})
    EXPECT_EQ(again.at(file), first_.at(file)) << file;
}

TEST(ReusedTilesOfARun, ADroppedFrameRedoesItsOwnTilesAndTheFilesAreThoseOfAFreshRun) {
  const TemporaryFolder folder;
  write_row_of_frames(folder.path() / "card", 14, 78);  // three tiles of 1024 px
  const fs::path table = folder.path() / "choices.csv";
  std::ofstream(table) << "file,verdict\nframe_12.jpg,drop\n";
  const auto run_into = [&](const char* out, const std::vector<std::string>& more) {
    std::vector<std::string> words{"run", (folder.path() / "card").string(), "-o",
                                   (folder.path() / out).string()};
    words.insert(words.end(), more.begin(), more.end());
    EXPECT_EQ(run_lookdown(words).exit_code, 0);
  };
  run_into("changed", {});
  run_into("changed", {"--choices-file", table.string()});
  run_into("fresh", {"--choices-file", table.string()});
  const json record = json::parse(std::ifstream(folder.path() / "changed" / "flight.json"));
  int tiles = 0, reused = 0;
  for (const json& timing : record.at("timings"))
    if (timing.at("stage") == "mosaic") tiles = timing.at("done"), reused = timing.at("from_cache");
  EXPECT_GT(reused, 0);
  EXPECT_LT(reused, tiles);
  const auto changed = contents_of(folder.path() / "changed"), fresh = contents_of(folder.path() / "fresh");
  for (const char* file : {"mosaic.tif", "mosaic_sources.tif", "mosaic.jpg", "placement.json", "frames.csv"})
    EXPECT_EQ(changed.at(file), fresh.at(file)) << file;
}

TEST_F(RedoneSteps, WhatCullHasMeasuredServesARun) {
  fs::remove_all(out());
  contents_of_run({"--no-page"}, "cull");
  const auto kept = [] {
    std::size_t entries = 0;
    for (const auto& entry : fs::recursive_directory_iterator(out() / ".cache"))
      entries += entry.is_regular_file() ? 1 : 0;
    return entries;
  };
  EXPECT_EQ(kept(), 5U);  // one answer a frame
  contents_of_run({}, "level");
  EXPECT_EQ(kept(), 10U);  // and its horizon beside it; no glare
}

}  // namespace
}  // namespace lookdown
