#include "stages/inspect/exif.h"

#include <gtest/gtest.h>

#include <fstream>
#include <iterator>

namespace lookdown::inspect {
namespace {

std::vector<std::uint8_t> registry_file(const std::string& path) {
  std::ifstream file(std::string(LOOKDOWN_NODE_MODULES) + "/" + path, std::ios::binary);
  EXPECT_TRUE(file) << path << " is missing; tests/run_all installs it";
  return {std::istreambuf_iterator<char>(file), std::istreambuf_iterator<char>()};
}

// Pictures of npm's exif 0.6.0; expected values as its own sony-alpha-6000.jpg.expected and the file names state them.
TEST(Exif, SonyPictureGivesLensAndExposure) {
  const ExifTags tags = read_exif(registry_file("exif/test/sony-alpha-6000.jpg"));
  EXPECT_EQ(tags.frame.make, "SONY");
  EXPECT_EQ(tags.frame.model, "ILCE-6000");
  EXPECT_EQ(tags.frame.focal_length_mm, 22);
  EXPECT_EQ(tags.frame.focal_length_35mm, 33);
  EXPECT_TRUE(tags.frame.taken_at);
  EXPECT_FALSE(tags.frame.position);
}

// The package's own right.jpg.expected and down-mirrored.jpg.expected say 8 and 4.
TEST(Exif, OrientationsAreRead) {
  EXPECT_EQ(read_exif(registry_file("exif/test/right.jpg")).orientation, 8);
  EXPECT_EQ(read_exif(registry_file("exif/test/down-mirrored.jpg")).orientation, 4);
}

TEST(Exif, DamagedMetadataIsNotKnownRatherThanAFailure) {
  const ExifTags tags = read_exif(registry_file("exif/test/evil1.jpg"));
  EXPECT_GE(tags.orientation, 1);
  EXPECT_LE(tags.orientation, 8);
  const std::vector<std::uint8_t> words{'w', 'o', 'r', 'd', 's'};
  EXPECT_FALSE(read_exif(words).frame.taken_at);
}

TEST(ExifTime, BecomesIso8601) {
  EXPECT_EQ(iso_time("2025:05:14 10:31:02", "25", "+02:00"), "2025-05-14T10:31:02.25+02:00");
  EXPECT_EQ(iso_time("2025:05:14 10:31:02", "", ""), "2025-05-14T10:31:02");
}

TEST(ExifTime, AbsurdDatesAreNotKnown) {
  for (const char* absurd : {"0000:00:00 00:00:00", "2025:13:01 00:00:00", "2025:02:30 00:00:00", "2025:05:14 25:00:00", "", "    :  :     :  :  "})
    EXPECT_FALSE(iso_time(absurd, "", "")) << absurd;
}

// 2000-03-01 00:00:00 is 951868800 seconds after 1970-01-01 (POSIX time; from memory, leap day of 2000 included).
TEST(ExifTime, SecondsCountFrom1970) {
  EXPECT_EQ(clock_seconds("1970-01-02T00:00:01.5"), 86401.5);
  EXPECT_EQ(clock_seconds("2000-03-01T00:00:00+02:00"), 951868800.0);
}

}  // namespace
}  // namespace lookdown::inspect
