#include "cli/flights/many_flights.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <fstream>
#include <opencv2/core.hpp>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>

#include "program_run.h"

namespace lookdown::cli {
namespace {

namespace fs = std::filesystem;
using ::testing::HasSubstr;
using ::testing::Not;

const std::vector<std::string> kAwkward{"plain",    "two words", "it's",  "a\"b",       "$(touch x)",
                                        "<b>&amp;", "ä-ö",       "-dash", "semi;colon", "100%"};

TEST(ShellQuoting, ARealShellGivesEveryWordBack) {
  const TemporaryFolder folder;
  for (const std::string& word : kAwkward) {
    const fs::path out = folder.path() / "said";
    ASSERT_EQ(std::system(("printf %s " + shell_quoted(word) + " > " + out.string()).c_str()), 0);
    EXPECT_EQ(bytes_of(out), word);
  }
  EXPECT_EQ(shell_quoted(""), "''");
}

TEST(IndexPage, NamesAreTextNotMarkup) {
  FlightOutcome outcome;
  outcome.name = "<script>alert(1)</script>";
  outcome.last_words = "<img src=x onerror=y>";
  const std::string failed = index_page({outcome});
  EXPECT_THAT(failed, Not(HasSubstr("<script>")));
  EXPECT_THAT(failed, HasSubstr("&lt;script&gt;alert(1)&lt;/script&gt;"));
  EXPECT_THAT(failed, Not(HasSubstr("<img src=x")));
  outcome.exit_code = kDone;
  outcome.name = "a b#c?d/ü\"";
  EXPECT_THAT(index_page({outcome}), HasSubstr("./a%20b%23c%3Fd%2F%C3%BC%22/report.html"));
}

TEST(IndexPage, AddsUpAndSaysWhyThereIsNoPicture) {
  FlightOutcome pond, roof, nothing;
  pond.name = "pond", pond.exit_code = kDone, pond.frames = 40, pond.kept = 29, pond.placed = 35,
  pond.gsd_m = 0.025;
  pond.seconds = 75;
  roof.name = "roof", roof.exit_code = kDone, roof.frames = 2, roof.kept = 1, roof.placed = 0;
  nothing.name = "nothing", nothing.has_pictures = false, nothing.exit_code = kNothingUsable;
  const std::string page = index_page({pond, roof, nothing});
  EXPECT_THAT(
      page, HasSubstr("2 of 3 flights done, 1 without pictures; 42 frames, 30 kept, 35 joined; 1 min 15 s."));
  EXPECT_THAT(page, HasSubstr("25 mm"));
  EXPECT_THAT(page, HasSubstr("./pond/mosaic.jpg"));
  EXPECT_THAT(page, Not(HasSubstr("./roof/mosaic.jpg")));
  EXPECT_THAT(page, HasSubstr("no frames could be joined"));
  EXPECT_THAT(page, HasSubstr("no scale"));
}

class ManyFlights : public ::testing::Test {
 protected:
  void picture(const std::string& name) const {
    const fs::path file = folder_.path() / "flights" / name;
    fs::create_directories(file.parent_path());
    cv::Mat noise(120, 160, CV_8UC3);
    cv::randu(noise, 0, 255);
    cv::GaussianBlur(noise, noise, {}, 2);
    cv::imwrite((folder_.path() / "made.png").string(), noise);
    fs::rename(folder_.path() / "made.png", file);
  }
  std::string flights() const { return (folder_.path() / "flights").string(); }
  std::string out() const { return (folder_.path() / "all results").string(); }
  TemporaryFolder folder_;
};

TEST_F(ManyFlights, EveryFolderIsRunAndOneFailureStopsNobodyElse) {
  picture("a pond's edge/1.png");
  picture("b <roof>/1.png");
  picture("c/1.png");
  fs::create_directories(folder_.path() / "flights/nothing here");
  std::ofstream(folder_.path() / "flights/c/1.png", std::ios::trunc) << "words";
  // Where the second flight would write is a file: that one fails.
  fs::create_directories(out());
  std::ofstream(fs::path(out()) / "b <roof>") << "in the way";
  const ProgramRun run =
      run_lookdown({"run", "--each", flights(), "-o", out(), "--no-cache", "--threads", "1"});
  EXPECT_EQ(run.exit_code, kFailed) << run.errors;
  EXPECT_TRUE(fs::exists(fs::path(out()) / "a pond's edge" / "report.html"));
  const std::string table = bytes_of(fs::path(out()) / "flights.csv");
  EXPECT_THAT(table, HasSubstr("a pond's edge,done,0,1,"));
  EXPECT_THAT(table, HasSubstr("b <roof>,failed,3"));
  EXPECT_THAT(table, HasSubstr("c,nothing usable,1"));
  EXPECT_THAT(table, HasSubstr("nothing here,no pictures,1"));
  const std::string page = bytes_of(fs::path(out()) / "index.html");
  EXPECT_THAT(page, HasSubstr("./a%20pond's%20edge/report.html"));
  EXPECT_THAT(page, HasSubstr("b &lt;roof&gt;"));
  EXPECT_THAT(page, HasSubstr("cannot be made"));
  EXPECT_THAT(page, HasSubstr("None of the 1 files could be used"));
}

TEST_F(ManyFlights, ListedCommandsRunByThemselvesFromAnywhere) {
  picture("a pond's edge/1.png");
  picture("$(b)/1.png");
  const ProgramRun listed = run_lookdown({"run", "--each", "--list-commands", flights(), "-o", out(),
                                          "--max-smear-px", "3", "--no-levelled-copies", "-q"});
  ASSERT_EQ(listed.exit_code, 0) << listed.errors;
  EXPECT_EQ(std::count(listed.output.begin(), listed.output.end(), '\n'), 2);
  EXPECT_THAT(listed.output, HasSubstr("--max-smear-px=3"));
  EXPECT_THAT(listed.output, HasSubstr("--no-levelled-copies"));
  EXPECT_FALSE(fs::exists(out()));
  std::ofstream(folder_.path() / "commands") << listed.output;
  EXPECT_EQ(std::system(("cd / && sh " + (folder_.path() / "commands").string()).c_str()), 0);
  EXPECT_TRUE(fs::exists(fs::path(out()) / "a pond's edge" / "flight.json"));
  EXPECT_TRUE(fs::exists(fs::path(out()) / "$(b)" / "flight.json"));
}

TEST_F(ManyFlights, WrongUseIsSaidBeforeAnythingRuns) {
  EXPECT_EQ(run_lookdown({"run", "--each", (folder_.path() / "nowhere").string(), "-o", out()}).exit_code,
            kWrongUse);
  EXPECT_EQ(run_lookdown({"run", "--list-commands", folder_.path().string(), "-o", out()}).exit_code,
            kWrongUse);
  EXPECT_FALSE(fs::exists(out()));
}

}  // namespace
}  // namespace lookdown::cli
