#include "stages/inspect/inspect.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <sys/stat.h>
#include <unistd.h>

#include <exiv2/exiv2.hpp>
#include <fstream>
#include <nlohmann/json.hpp>
#include <opencv2/core.hpp>
#include <opencv2/imgcodecs.hpp>
#include <set>

#include "pipeline/record/record_json.h"

namespace lookdown::inspect {
namespace {

namespace fs = std::filesystem;
using ::testing::ElementsAre;
using ::testing::HasSubstr;

class InspectTest : public ::testing::Test {
 protected:
  InspectTest() { fs::create_directories(card_); }
  ~InspectTest() override { fs::remove_all(card_); }
  void picture(const std::string& name, int width = 96, int height = 64) const {
    fs::create_directories((card_ / name).parent_path());
    cv::imwrite((card_ / name).string(), cv::Mat(height, width, CV_8UC3, cv::Scalar(10, 200, 90)));
  }
  std::vector<std::string> names(const std::vector<fs::path>& files) const {
    std::vector<std::string> found;
    for (const fs::path& file : files) found.push_back(file.lexically_relative(card_).generic_string());
    return found;
  }
  FlightRecord look(const std::vector<fs::path>& files) const {
    const FrameReader reader;
    const Scheduler scheduler({2, 1'000'000'000});
    const Cache cache{fs::path()};
    Progress progress(false);
    RunContext context{card_ / "out", reader, scheduler, cache, progress};
    return inspect::inspect(files, {}, context);
  }
  fs::path card_ = fs::temp_directory_path() / ("lookdown_card_" + std::to_string(::getpid()));
};

TEST_F(InspectTest, FoldersAreSearchedAndHiddenAndForeignFilesLeftOut) {
  picture("b.JPG");
  picture("sub folder/ä.jpeg");
  picture("._b.png");
  std::ofstream(card_ / "notes.txt") << "x";
  EXPECT_THAT(names(picture_files({card_.string()})), ElementsAre("b.JPG", "sub folder/ä.jpeg"));
}

TEST_F(InspectTest, PatternsAreExpandedAndDuplicatesMerged) {
  picture("a1.jpg");
  picture("a2.jpg");
  const std::string pattern = (card_ / "a*.jpg").string();
  EXPECT_THAT(names(picture_files({pattern, (card_ / "a1.jpg").string()})), ElementsAre("a1.jpg", "a2.jpg"));
}

TEST_F(InspectTest, MissingInputIsNamed) {
  EXPECT_THAT([] { (void)picture_files({"/no/such/flight"}); },
              ::testing::ThrowsMessage<std::runtime_error>(HasSubstr("/no/such/flight")));
}

TEST_F(InspectTest, LinksThatRunInCirclesEnd) {
  picture("a.jpg");
  fs::create_directory_symlink(card_, card_ / "again");
  EXPECT_THAT(names(picture_files({card_.string()})), ElementsAre("a.jpg"));
}

TEST_F(InspectTest, OneBadFileIsAFaultAndTheRestIsRead) {
  picture("good.png");
  picture("tiny.png", 1, 1);
  std::ofstream(card_ / "words.jpg") << "not a picture";
  std::ofstream(card_ / "nothing.jpg");
  ASSERT_EQ(::mkfifo((card_ / "pipe.jpg").c_str(), 0600), 0);
  const FlightRecord record = look(picture_files({card_.string()}));
  ASSERT_EQ(record.frames.size(), 5U);
  for (const FrameRecord& frame : record.frames) {
    EXPECT_EQ(frame.fault.has_value(), frame.source.file != "good.png") << frame.source.file;
    EXPECT_EQ(frame.decision.verdict, frame.fault ? Verdict::drop : frame.decision.verdict);
  }
}

TEST_F(InspectTest, TwoCardsOfTheSameNamesKeepTheirFramesApart) {
  for (const char* name : {"card 1/DCIM/K0001.JPG", "card 2/DCIM/K0001.JPG", "card 2/DCIM/K0001.jpeg",
                           "card 2/Größe/k0001.Tif", "card 2/Größe/K0001.PNG"})
    picture(name);
  const FlightRecord record = look(picture_files({card_.string()}));
  std::set<std::string> files, stems;
  for (const FrameRecord& frame : record.frames) {
    EXPECT_FALSE(frame.fault) << frame.source.file;
    files.insert(frame.source.file);
    stems.insert(frame.source.stem);
  }
  EXPECT_EQ(files.size(), 5U);
  EXPECT_EQ(stems.size(), 5U) << "files made from one frame must not overwrite another's";
  EXPECT_TRUE(files.contains("card 2/Größe/k0001.Tif"));
}

TEST_F(InspectTest, OutputsOfFramesThatShareAStemStayApart) {
  picture("a.jpg");
  picture("a.png");
  picture("b/a.jpg");
  const FlightRecord record = look(picture_files({card_.string()}));
  std::set<std::string> stems;
  for (const FrameRecord& frame : record.frames) stems.insert(frame.source.stem);
  EXPECT_THAT(stems, ElementsAre("a.jpg", "a.png", "b/a"));
}

// Exif is what a camera writes (CIPA DC-008): a folder below its frames without any is not of its flight.
TEST_F(InspectTest, PicturesOfNoCameraBelowTheFramesAreLeftOut) {
  for (const char* name : {"a.jpg", "b.jpg", "more/c.jpg"}) {
    picture(name);
    const auto file = Exiv2::ImageFactory::open((card_ / name).string());
    file->exifData()["Exif.Photo.DateTimeOriginal"] = "2025:05:14 10:31:02";
    file->writeMetadata();
  }
  picture("more/without_exif.jpg");
  picture("truth/a_mask.png");
  picture("truth/b_mask.png");
  const FlightRecord record = look(picture_files({card_.string()}));
  std::vector<std::string> files;
  for (const FrameRecord& frame : record.frames) files.push_back(frame.source.file);
  EXPECT_THAT(files,
              ::testing::UnorderedElementsAre("a.jpg", "b.jpg", "more/c.jpg", "more/without_exif.jpg"));
  EXPECT_THAT(record.warnings, ElementsAre(::testing::AllOf(HasSubstr("truth/"), HasSubstr("2 pictures"))));
  // Named by itself it is read.
  EXPECT_EQ(look(picture_files({(card_ / "truth").string()})).frames.size(), 2U);
}

TEST_F(InspectTest, FoldersWithoutExifAreReadWhereNothingHasAny) {
  picture("a.jpg");
  picture("sub/b.jpg");
  const FlightRecord record = look(picture_files({card_.string()}));
  EXPECT_EQ(record.frames.size(), 2U);
  EXPECT_TRUE(record.warnings.empty());
}

TEST_F(InspectTest, WhatAnEarlierRunLeftBelowTheFramesIsNotSearched) {
  picture("a.jpg");
  picture("result/masks/a_glare.png");
  picture("other/b.jpg");
  std::ofstream(card_ / "result/flight.json") << to_json(FlightRecord{}).dump(1);
  std::ofstream(card_ / "other/flight.json") << "{\"program\": \"another\"}";
  EXPECT_THAT(names(picture_files({card_.string()})), ElementsAre("a.jpg", "other/b.jpg"));
  EXPECT_THAT(names(picture_files({(card_ / "result").string()})), ElementsAre("result/masks/a_glare.png"));
}

}  // namespace
}  // namespace lookdown::inspect
