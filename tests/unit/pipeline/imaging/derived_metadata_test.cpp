#include "pipeline/imaging/metadata/derived_metadata.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <exiv2/exiv2.hpp>
#include <fstream>
#include <opencv2/core.hpp>
#include <opencv2/imgcodecs.hpp>

#include "made_dng/made_dng.h"
#include "pipeline/imaging/formats/raw_decode.h"
#include "program_run.h"

namespace lookdown {
namespace {

namespace fs = std::filesystem;
using ::testing::HasSubstr;
using ::testing::StartsWith;

std::string said_by(const std::string& command) {
  std::string said;
  std::FILE* pipe = ::popen((command + " 2>&1").c_str(), "r");
  char piece[4096];
  while (std::fgets(piece, sizeof piece, pipe)) said += piece;
  ::pclose(pipe);
  return said;
}

class DerivedMetadata : public ::testing::Test {
 protected:
  fs::path frame(const std::string& name, const std::string& artist, const std::string& copyright) const {
    const fs::path file = folder_.path() / name;
    cv::imwrite(file.string(), cv::Mat(64, 96, CV_8UC3, cv::Scalar(10, 200, 90)));
    const auto picture = Exiv2::ImageFactory::open(file.string());
    picture->readMetadata();
    picture->exifData()["Exif.Image.Make"] = "Made Here";
    picture->exifData()["Exif.Image.Orientation"] = std::uint16_t{8};
    picture->exifData()["Exif.Photo.FocalLength"] = Exiv2::Rational(28, 1);
    if (!artist.empty()) picture->exifData()["Exif.Image.Artist"] = artist;
    if (!copyright.empty()) picture->exifData()["Exif.Image.Copyright"] = copyright;
    picture->writeMetadata();
    return file;
  }
  static std::vector<std::uint8_t> encoded(const char* ending, int type = CV_8UC3) {
    std::vector<std::uint8_t> bytes;
    cv::imencode(ending, cv::Mat(48, 80, type, cv::Scalar(1, 2, 3)), bytes);
    return bytes;
  }
  fs::path saved(const std::string& name, const std::vector<std::uint8_t>& bytes) const {
    std::ofstream(folder_.path() / name, std::ios::binary)
        .write(reinterpret_cast<const char*>(bytes.data()), static_cast<long>(bytes.size()));
    return folder_.path() / name;
  }
  // As the exiv2 program, which is built apart from us, prints it.
  static std::string printed(const fs::path& file) { return said_by("exiv2 -Pkt " + file.string()); }
  TemporaryFolder folder_;
};

TEST_F(DerivedMetadata, AttributionNamesEachAuthorOnce) {
  const Attribution found =
      attribution_of({frame("a.jpg", "A. Reed", "2025 Reed"), frame("b.jpg", "A. Reed", "2025 Reed"),
                      frame("c.jpg", "B. Sedge", ""), folder_.path() / "missing.jpg"});
  EXPECT_EQ(found.artist, "A. Reed; B. Sedge");
  EXPECT_EQ(found.copyright, "2025 Reed");
}

TEST_F(DerivedMetadata, CopiesOfEveryFormatSayWhatTheyAreAndExiv2ReadsThemWithoutAWarning) {
  const fs::path original = frame("a b.jpg", "A. Reed", "2025 Reed");
  for (const char* ending : {".jpg", ".png", ".tif"}) {
    const fs::path file = saved(std::string("copy") + ending,
                                with_metadata_of(original, encoded(ending), 80, 48,
                                                 {"levelled: turned by 3.2 degrees", {"a b.jpg"}, {}}));
    const std::string all = printed(file);
    EXPECT_THAT(all, ::testing::Not(HasSubstr("arning"))) << ending;
    EXPECT_THAT(all, ::testing::Not(HasSubstr("rror"))) << ending;
    for (const char* wanted :
         {"lookdown 0", "A. Reed", "2025 Reed", "levelled: turned by 3.2 degrees", "a b.jpg", "Made Here"})
      EXPECT_THAT(all, HasSubstr(wanted)) << ending;
    EXPECT_FALSE(cv::imread(file.string()).empty());
    const auto copy = Exiv2::ImageFactory::open(file.string());
    copy->readMetadata();
    EXPECT_EQ(copy->exifData()["Exif.Image.Orientation"].toLong(), 1) << ending;
    EXPECT_EQ(copy->exifData()["Exif.Photo.PixelXDimension"].toLong(), 80) << ending;
    EXPECT_EQ(copy->exifData()["Exif.Photo.FocalLength"].toRational().first, 28) << ending;
  }
}

TEST_F(DerivedMetadata, ACopyFromRawKeepsTheShotButNotTheInsideOfTheFile) {
  MadeDng made;
  made.linear_bgr = cv::Mat(96, 128, CV_64FC3, cv::Scalar(0.2, 0.3, 0.4));
  made.preview_bgr = cv::Mat(96, 128, CV_8UC3, cv::Scalar(90, 80, 70));
  write_dng(folder_.path() / "a.dng", made);
  const fs::path file =
      saved("copy.tif", with_metadata_of(folder_.path() / "a.dng", encoded(".tif", CV_16UC3), 80, 48,
                                         {"levelled", {"a.dng"}, {}}));
  const std::string all = printed(file);
  EXPECT_THAT(all, HasSubstr("2025:05:14 10:31:02"));
  EXPECT_THAT(all, ::testing::Not(HasSubstr("DNGVersion")));
  const cv::Mat pixels = cv::imread(file.string(), cv::IMREAD_UNCHANGED);
  ASSERT_EQ(pixels.type(), CV_16UC3);
  EXPECT_EQ(pixels.size(), cv::Size(80, 48));
  EXPECT_EQ(pixels.at<cv::Vec3w>(5, 5), cv::Vec3w(1, 2, 3));
}

TEST_F(DerivedMetadata, ManyFramesAreCountedInTheDescriptionAndNamedInTheSource) {
  const Derivation derivation{
      "straight-down mosaic", {"1.jpg", "2.jpg", "3.jpg", "4.jpg", "5.jpg"}, {"A. Reed", "2025 Reed"}};
  EXPECT_EQ(description_of(derivation), "straight-down mosaic; from 1.jpg, 2.jpg, 3.jpg and 2 more");
  const std::string all = printed(saved("mosaic.jpg", with_derivation(encoded(".jpg"), derivation)));
  for (const char* wanted : {"lookdown 0", "A. Reed", "2025 Reed", "straight-down mosaic", "5.jpg"})
    EXPECT_THAT(all, HasSubstr(wanted));
}

TEST_F(DerivedMetadata, WhatIsNoPictureComesBackUnchanged) {
  const std::vector<std::uint8_t> words{'w', 'o', 'r', 'd', 's'};
  EXPECT_EQ(with_derivation(words, {"x", {}, {}}), words);
  EXPECT_EQ(with_metadata_of(folder_.path() / "missing.jpg", words, 1, 1, {"x", {}, {}}), words);
}

}  // namespace
}  // namespace lookdown
