// Bad input: each case gets a clear message that names the file and what to do, no crash, and no half-written
// output.
#include <fcntl.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

#include <fstream>

#include "program_run.h"
#include "small_card.h"

namespace lookdown {
namespace {

namespace fs = std::filesystem;
using ::testing::AllOf;
using ::testing::HasSubstr;

class BadCard : public ::testing::Test {
 protected:
  BadCard() { fs::create_directories(card()); }
  [[nodiscard]] fs::path card() const { return folder_.path() / "card"; }
  [[nodiscard]] fs::path out() const { return folder_.path() / "out"; }
  [[nodiscard]] ProgramRun run() const {
    return run_lookdown({"run", card().string(), "-o", out().string()});
  }
  void frame(const std::string& name, std::uint64_t seed, int width = 480, int height = 320) const {
    write_frame(card() / name, ground(width, height, seed));
  }
  void expect_nothing_unfinished() const {
    if (!fs::exists(out())) return;
    for (const auto& entry : fs::recursive_directory_iterator(out()))
      EXPECT_EQ(entry.path().filename().string().find(".unfinished-"), std::string::npos) << entry.path();
  }
  TemporaryFolder folder_;
};

TEST_F(BadCard, MissingFolderIsWrongUse) {
  const ProgramRun run = run_lookdown({"run", "/no/such/flight", "-o", out().string()});
  EXPECT_EQ(run.exit_code, 2);
  EXPECT_THAT(run.errors, HasSubstr("/no/such/flight"));
  EXPECT_FALSE(fs::exists(out()));
}

TEST_F(BadCard, EmptyFolderHasNothingUsable) {
  const ProgramRun run = this->run();
  EXPECT_EQ(run.exit_code, 1);
  EXPECT_THAT(run.errors, AllOf(HasSubstr(card().string()), HasSubstr("no pictures")));
}

TEST_F(BadCard, WrongUseIsSaidBeforeAnythingIsDone) {
  frame("a.jpg", 1);
  EXPECT_EQ(run_lookdown({"run", card().string()}).exit_code, 2);
  EXPECT_EQ(run_lookdown({"run", card().string(), "-o", out().string(), "--max-blur-px", "-3"}).exit_code, 2);
  EXPECT_EQ(run_lookdown({"run", card().string(), "-o", out().string(), "--no-such-option"}).exit_code, 2);
  EXPECT_EQ(run_lookdown({"dance"}).exit_code, 2);
  EXPECT_FALSE(fs::exists(out()));
}

TEST_F(BadCard, FilesThatAreNoFramesAreDroppedWithTheReason) {
  frame("good.jpg", 1);
  frame("cut.jpg", 2);
  fs::resize_file(card() / "cut.jpg", fs::file_size(card() / "cut.jpg") / 2);
  std::ofstream(card() / "words.jpg") << "these are words, not a picture";
  std::ofstream(card() / "empty.jpg");
  cv::imwrite((card() / "dot.png").string(), cv::Mat(1, 1, CV_8UC3, cv::Scalar(1, 2, 3)));
  const ProgramRun run = this->run();
  EXPECT_EQ(run.exit_code, 0) << run.errors;
  const auto table = read_frames_table(out() / "frames.csv");
  ASSERT_EQ(table.size(), 5U);
  EXPECT_THAT(table.at("cut.jpg").at("reasons"), HasSubstr("of 320 rows"));
  EXPECT_THAT(table.at("words.jpg").at("reasons"), HasSubstr("no picture"));
  EXPECT_THAT(table.at("empty.jpg").at("reasons"), HasSubstr("0 bytes"));
  EXPECT_THAT(table.at("dot.png").at("reasons"), HasSubstr("1 x 1"));
  for (const char* bad : {"cut.jpg", "words.jpg", "empty.jpg", "dot.png"})
    EXPECT_EQ(table.at(bad).at("verdict"), "drop") << bad;
  expect_nothing_unfinished();
}

TEST_F(BadCard, OnlyBrokenFilesHaveNothingUsable) {
  std::ofstream(card() / "words.jpg") << "words";
  const ProgramRun run = this->run();
  EXPECT_EQ(run.exit_code, 1);
  EXPECT_EQ(read_frames_table(out() / "frames.csv").at("words.jpg").at("verdict"), "drop");
}

TEST_F(BadCard, OneFrameAloneMakesAMosaicOfItself) {
  frame("only.jpg", 3);
  const ProgramRun run = this->run();
  EXPECT_EQ(run.exit_code, 0) << run.errors;
  EXPECT_TRUE(fs::exists(out() / "report.html"));
  EXPECT_TRUE(fs::exists(out() / "mosaic.tif"));
  expect_nothing_unfinished();
}

TEST_F(BadCard, TwoFramesThatDoNotOverlapAreNotForcedTogether) {
  frame("a.jpg", 4, 300, 200);
  frame("b.jpg", 5, 300, 200);
  const ProgramRun run = this->run();
  EXPECT_EQ(run.exit_code, 0) << run.errors;
  const auto table = read_frames_table(out() / "frames.csv");
  EXPECT_FALSE(table.at("a.jpg").at("placed") == "yes" && table.at("b.jpg").at("placed") == "yes" &&
               table.at("a.jpg").at("group") == table.at("b.jpg").at("group"));
  expect_nothing_unfinished();
}

TEST_F(BadCard, OutputFolderThatCannotBeMadeIsNamed) {
  frame("a.jpg", 6);
  std::ofstream(folder_.path() / "file") << "in the way";
  const ProgramRun run =
      run_lookdown({"run", card().string(), "-o", (folder_.path() / "file" / "out").string()});
  EXPECT_EQ(run.exit_code, 3);
  EXPECT_THAT(run.errors, AllOf(HasSubstr("file/out"), HasSubstr("-o")));
}

TEST_F(BadCard, NoWritePermissionIsNamed) {
  frame("a.jpg", 6);
  fs::create_directories(out());
  ASSERT_EQ(::chmod(out().c_str(), 0500), 0);
  const ProgramRun run = run_lookdown({"run", card().string(), "-o", out().string()}, RunAs::ordinary_user);
  EXPECT_EQ(run.exit_code, 3);
  EXPECT_THAT(run.errors, HasSubstr(out().string()));
  ::chmod(out().c_str(), 0700);
}

TEST_F(BadCard, SecondRunIntoTheSameFolderStops) {
  frame("a.jpg", 7);
  fs::create_directories(out());
  const int lock = ::open((out() / ".lock").c_str(), O_RDWR | O_CREAT, 0600);
  ASSERT_EQ(::flock(lock, LOCK_EX | LOCK_NB), 0);
  const ProgramRun run = this->run();
  ::close(lock);
  EXPECT_EQ(run.exit_code, 3);
  EXPECT_THAT(run.errors, HasSubstr("another run"));
}

TEST_F(BadCard, OriginalsAreByteIdenticalAfterARun) {
  write_row_of_frames(card(), 2, 8);
  const auto before = contents_of(card());
  EXPECT_EQ(run().exit_code, 0);
  EXPECT_TRUE(contents_of(card()) == before) << "nothing is changed on the card, and nothing added";
}

}  // namespace
}  // namespace lookdown
