// Storage that fails: full disks, cards that may not be written to, folders that vanish during a run. Each
// ends in a message that names the file, and in a state from which the same command goes on.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cstdlib>
#include <fstream>
#include <thread>

#include "program_run.h"
#include "small_card.h"

namespace lookdown {
namespace {

namespace fs = std::filesystem;
using ::testing::AnyOf;
using ::testing::HasSubstr;

class FailingStorage : public ::testing::Test {
 protected:
  FailingStorage() { write_row_of_frames(card(), 4, 5); }
  [[nodiscard]] fs::path card() const { return folder_.path() / "card"; }
  [[nodiscard]] fs::path out() const { return folder_.path() / "out"; }
  [[nodiscard]] std::vector<std::string> command() const {
    return {"run", card().string(), "-o", out().string()};
  }

  // In a mount namespace of its own, where the shell's `mounting` has been done first.
  [[nodiscard]] ProgramRun run_where(const std::string& mounting) const {
    RunConditions conditions;
    conditions.started_by = {
        "unshare", "--map-root-user", "--mount", "sh", "-c", mounting + " && exec \"$@\"", "sh"};
    return run_lookdown(command(), conditions);
  }
  [[nodiscard]] static bool mounts_allowed() {
    return std::system("unshare --map-root-user --mount mount -t tmpfs none /mnt 2>/dev/null") == 0;
  }
  void expect_nothing_unfinished() const {
    for (const auto& entry : fs::recursive_directory_iterator(out()))
      EXPECT_EQ(entry.path().filename().string().find(".unfinished-"), std::string::npos) << entry.path();
  }
  TemporaryFolder folder_;
};

TEST_F(FailingStorage, FileThatCannotGrowEndsTheRunClearlyAndTheNextGoesOn) {
  RunConditions no_room;
  no_room.largest_file_bytes = 60'000;  // the tables fit, the mosaic does not
  const ProgramRun failed = run_lookdown(command(), no_room);
  EXPECT_EQ(failed.exit_code, 3) << failed.errors;
  EXPECT_THAT(failed.errors, HasSubstr(out().string()));
  EXPECT_THAT(failed.errors,
              AnyOf(HasSubstr("room"), HasSubstr("space"), HasSubstr("full"), HasSubstr("large")));
  expect_nothing_unfinished();
  EXPECT_EQ(run_lookdown(command()).exit_code, 0);
  EXPECT_TRUE(fs::exists(out() / "report.html"));
}

TEST_F(FailingStorage, FullDiskEndsTheRunClearly) {
  if (!mounts_allowed()) GTEST_SKIP() << "this system lets nobody mount";
  fs::create_directories(out());
  for (const char* room : {"100k", "400k", "1m"}) {
    const ProgramRun failed =
        run_where("mount -t tmpfs -o size=" + std::string(room) + " none '" + out().string() + "'");
    EXPECT_EQ(failed.exit_code, 3) << room << ": " << failed.errors;
    EXPECT_THAT(failed.errors, HasSubstr(out().string())) << room;
  }
}

TEST_F(FailingStorage, CardMountedReadOnlyIsEnough) {
  if (!mounts_allowed()) GTEST_SKIP() << "this system lets nobody mount";
  const std::string card = "'" + this->card().string() + "'";
  const ProgramRun run =
      run_where("mount --bind " + card + " " + card + " && mount -o remount,bind,ro " + card);
  EXPECT_EQ(run.exit_code, 0) << run.errors;
  EXPECT_TRUE(fs::exists(out() / "mosaic.tif"));
}

TEST_F(FailingStorage, CardThatVanishesDuringTheRunIsReported) {
  write_row_of_frames(card(), 12, 6);
  std::thread pulled([&] {
    while (!fs::exists(out() / ".cache")) std::this_thread::sleep_for(std::chrono::milliseconds(2));
    fs::rename(card(), folder_.path() / "pulled");
  });
  const ProgramRun run = run_lookdown(command());
  pulled.join();
  EXPECT_THAT(run.exit_code, AnyOf(0, 1, 3)) << run.errors;
  if (run.exit_code != 3) {
    std::string reasons;
    for (const auto& [file, row] : read_frames_table(out() / "frames.csv")) reasons += row.at("reasons");
    EXPECT_THAT(reasons + run.errors + run.output, HasSubstr("cannot be found"));
  }
  expect_nothing_unfinished();
  fs::rename(folder_.path() / "pulled", card());
  EXPECT_EQ(run_lookdown(command()).exit_code, 0);
  for (const auto& [file, row] : read_frames_table(out() / "frames.csv"))
    EXPECT_EQ(row.at("reasons").find("cannot"), std::string::npos) << file;
  EXPECT_TRUE(fs::exists(out() / "mosaic.tif"));
}

TEST_F(FailingStorage, OutputFolderThatVanishesDuringTheRunEndsClearly) {
  std::thread pulled([&] {
    while (!fs::exists(out() / ".cache")) std::this_thread::sleep_for(std::chrono::milliseconds(2));
    fs::rename(out(), folder_.path() / "gone");
    std::ofstream(out()) << "a file where the folder was";
  });
  const ProgramRun run = run_lookdown(command());
  pulled.join();
  EXPECT_EQ(run.exit_code, 3);
  EXPECT_THAT(run.errors, HasSubstr(out().string()));
}

}  // namespace
}  // namespace lookdown
