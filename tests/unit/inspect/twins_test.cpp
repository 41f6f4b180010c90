#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <unistd.h>

#include <exiv2/exiv2.hpp>
#include <filesystem>
#include <fstream>
#include <opencv2/core.hpp>
#include <opencv2/imgcodecs.hpp>

#include "made_dng/made_dng.h"
#include "stages/inspect/inspect.h"

namespace lookdown::inspect {
namespace {

namespace fs = std::filesystem;
using ::testing::ElementsAre;

class Twins : public ::testing::Test {
 protected:
  Twins() { fs::create_directories(card_); }
  ~Twins() override { fs::remove_all(card_); }

  void raw(const std::string& name, const std::string& time) const {
    MadeDng made;
    made.linear_bgr = cv::Mat(96, 128, CV_64FC3, cv::Scalar(0.2, 0.3, 0.4));
    made.taken_at = time;
    write_dng(card_ / name, made);
  }
  void jpeg(const std::string& name, const std::string& time) const {
    cv::imwrite((card_ / "made.jpg").string(), cv::Mat(96, 128, CV_8UC3, cv::Scalar(10, 200, 90)));
    fs::create_directories((card_ / name).parent_path());
    fs::rename(card_ / "made.jpg", card_ / name);
    const auto picture = Exiv2::ImageFactory::open((card_ / name).string());
    picture->readMetadata();
    picture->exifData()["Exif.Photo.DateTimeOriginal"] = time;
    picture->writeMetadata();
  }
  FlightRecord look(const std::string& twin = "raw") const {
    const FrameReader reader;
    const Scheduler scheduler({2, 1'000'000'000});
    const Cache cache{fs::path()};
    Progress progress(false);
    RunContext context{card_ / "out", reader, scheduler, cache, progress};
    Options options;
    options.twin = twin;
    return inspect(picture_files({card_.string()}), options, context);
  }
  static std::vector<std::string> files(const FlightRecord& record) {
    std::vector<std::string> names;
    for (const FrameRecord& frame : record.frames) names.push_back(frame.source.file);
    std::sort(names.begin(), names.end());
    return names;
  }
  fs::path card_ = fs::temp_directory_path() / ("lookdown_twins_" + std::to_string(::getpid()));
};

TEST_F(Twins, RawAndJpegOfOneShotAreOneFrame) {
  raw("K0001.DNG", "2025:05:14 10:31:02");
  jpeg("K0001.jpg", "2025:05:14 10:31:02");
  jpeg("K0002.jpg", "2025:05:14 10:31:05");
  const FlightRecord record = look();
  EXPECT_THAT(files(record), ElementsAre("K0001.DNG", "K0002.jpg"));
  EXPECT_EQ(record.frames[0].source.twin_file, "K0001.jpg");
  EXPECT_EQ(record.frames[0].source.stem, "K0001");
  EXPECT_EQ(record.frames[0].info.taken_at, "2025-05-14T10:31:02");
  EXPECT_EQ(record.frames[0].info.focal_length_mm, 28);
  EXPECT_EQ(record.frames[0].info.make, "Made Here");
  EXPECT_EQ(record.notes.size(), 1U);
  EXPECT_THAT(files(look("jpeg")), ElementsAre("K0001.jpg", "K0002.jpg"));
}

TEST_F(Twins, ShotsOfOtherTimesOrFoldersStayApart) {
  raw("K0001.dng", "2025:05:14 10:31:02");
  jpeg("K0001.jpg", "2025:05:14 11:31:02");
  raw("K0002.dng", "2025:05:14 10:31:04");
  jpeg("card2/K0002.jpg", "2025:05:14 10:31:04");
  EXPECT_EQ(look().frames.size(), 4U);
}

TEST_F(Twins, TheJpegStandsInForARawFileThatCannotBeRead) {
  std::ofstream(card_ / "K0001.NEF") << "no longer what it was";
  jpeg("K0001.JPG", "2025:05:14 10:31:02");
  const FlightRecord record = look();
  EXPECT_THAT(files(record), ElementsAre("K0001.JPG"));
  EXPECT_EQ(record.frames[0].source.twin_file, "K0001.NEF");
  EXPECT_EQ(record.warnings.size(), 1U);
}

}  // namespace
}  // namespace lookdown::inspect
