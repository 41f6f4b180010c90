// A run that is killed at any moment is resumed by the same command and ends with the same bytes; the number
// of threads changes no byte either.
#include <gtest/gtest.h>

#include <chrono>
#include <nlohmann/json.hpp>
#include <random>

#include "program_run.h"
#include "small_card.h"

namespace lookdown {
namespace {

namespace fs = std::filesystem;
using std::chrono::milliseconds;
using std::chrono::steady_clock;

class WholeRun : public ::testing::Test {
 protected:
  WholeRun() { write_row_of_frames(card(), 5, 77); }
  [[nodiscard]] fs::path card() const { return folder_.path() / "card"; }
  [[nodiscard]] fs::path out() const { return folder_.path() / "out"; }
  [[nodiscard]] std::vector<std::string> command(const std::vector<std::string>& more = {}) const {
    std::vector<std::string> words{"run",          card().string(), "-o",
                                   out().string(), "--glare-masks", "--levelled-copies"};
    words.insert(words.end(), more.begin(), more.end());
    return words;
  }
  // Everything that was written. How long it took and how it was called belong to the run, not to its result.
  [[nodiscard]] std::map<std::string, std::string> result() const {
    std::map<std::string, std::string> files = contents_of(out());
    auto record = nlohmann::json::parse(files.at("flight.json"));
    for (const char* own : {"timings", "command_line", "options"}) record.erase(own);
    files["flight.json"] = record.dump();
    files.erase("report.html");  // carries the record as it is, timings and command included
    return files;
  }
  TemporaryFolder folder_;
};

// Which files differ, rather than their bytes.
std::string differences(const std::map<std::string, std::string>& a,
                        const std::map<std::string, std::string>& b) {
  std::string names;
  for (const auto& [name, bytes] : a)
    if (!b.contains(name) || b.at(name) != bytes) names += name + " ";
  for (const auto& [name, bytes] : b)
    if (!a.contains(name)) names += name + " ";
  return names;
}

TEST_F(WholeRun, KilledFortyTimesAtAnyMomentResumesAndEndsTheSame) {
  for (const char* more : {"frame_3.jpg", "frame_4.jpg"}) fs::remove(card() / more);  // three do, forty times
  const auto started = steady_clock::now();
  ASSERT_EQ(run_lookdown(command()).exit_code, 0);
  const auto whole = std::chrono::duration_cast<milliseconds>(steady_clock::now() - started);
  const auto expected = result();
  ASSERT_TRUE(expected.contains("mosaic.tif"));
  const auto originals = contents_of(card());

  std::mt19937 random(20250514);
  std::uniform_int_distribution<int> moment(0, static_cast<int>(whole.count()));
  int killed = 0;
  fs::remove_all(out());
  for (int i = 0; i < 40; ++i) {
    RunConditions conditions;
    conditions.killed_after = milliseconds(moment(random));
    if (run_lookdown(command(), conditions).exit_code == 128 + SIGKILL)
      ++killed;
    else
      fs::remove_all(out());  // it had ended: start anew, so that there is something to kill
  }
  EXPECT_GE(killed, 10) << "of 40 runs";
  ASSERT_EQ(run_lookdown(command()).exit_code, 0);
  EXPECT_EQ(differences(result(), expected), "");
  EXPECT_TRUE(contents_of(card()) == originals);
}

TEST_F(WholeRun, InterruptedByAPersonSaysHowToGoOn) {
  RunConditions interrupted;
  interrupted.killed_by = SIGINT;
  ProgramRun run;
  // Until the program listens an interruption ends it at once; on a busy machine its libraries load for
  // longer.
  for (const int wait_ms : {300, 900, 2700}) {
    interrupted.killed_after = milliseconds(wait_ms);
    run = run_lookdown(command(), interrupted);
    if (run.exit_code != 128 + SIGINT) break;
  }
  ASSERT_EQ(run.exit_code, 3);
  EXPECT_NE(run.errors.find("goes on"), std::string::npos) << run.errors;
  EXPECT_EQ(run_lookdown(command()).exit_code, 0);
}

TEST_F(WholeRun, SummaryForMachinesIsJsonAndQuietIsSilent) {
  const ProgramRun spoken = run_lookdown(command({"--json"}));
  ASSERT_EQ(spoken.exit_code, 0) << spoken.errors;
  const auto summary = nlohmann::json::parse(spoken.output);
  EXPECT_EQ(summary.at("frames"), 5);
  EXPECT_EQ(summary.at("files").at("report.html"), (out() / "report.html").string());
  const ProgramRun silent = run_lookdown(command({"--quiet"}));
  EXPECT_EQ(silent.exit_code, 0);
  EXPECT_EQ(silent.output + silent.errors, "");
}

TEST_F(WholeRun, ThreadsChangeNoByte) {
  ASSERT_EQ(run_lookdown(command({"--threads", "1", "--no-cache"})).exit_code, 0);
  const auto expected = result();
  for (const char* threads : {"2", "8"}) {
    fs::remove_all(out());
    ASSERT_EQ(run_lookdown(command({"--threads", threads, "--no-cache"})).exit_code, 0);
    EXPECT_EQ(differences(result(), expected), "") << threads << " threads";
  }
}

}  // namespace
}  // namespace lookdown
