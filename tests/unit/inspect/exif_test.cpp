#include "stages/inspect/exif.h"

#include <gtest/gtest.h>

#include <exiv2/exiv2.hpp>
#include <fstream>
#include <functional>
#include <iterator>
#include <opencv2/core.hpp>
#include <opencv2/imgcodecs.hpp>

namespace lookdown::inspect {
namespace {

std::vector<std::uint8_t> registry_file(const std::string& path) {
  std::ifstream file(std::string(LOOKDOWN_NODE_MODULES) + "/" + path, std::ios::binary);
  EXPECT_TRUE(file) << path << " is missing; tests/run_all installs it";
  return {std::istreambuf_iterator<char>(file), std::istreambuf_iterator<char>()};
}

// Pictures of npm's exif 0.6.0; expected values as its own sony-alpha-6000.jpg.expected and the file names
// state them.
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

// A picture whose Exif the test writes, by exiv2's own names of the tags of Exif 2.32.
ExifTags tagged(const std::function<void(Exiv2::ExifData&)>& write) {
  std::vector<std::uint8_t> bytes;
  cv::imencode(".jpg", cv::Mat(64, 96, CV_8UC3, cv::Scalar(10, 200, 90)), bytes);
  const auto picture = Exiv2::ImageFactory::open(bytes.data(), static_cast<long>(bytes.size()));
  picture->readMetadata();
  write(picture->exifData());
  picture->writeMetadata();
  std::vector<std::uint8_t> written(picture->io().size());
  picture->io().open();
  picture->io().read(written.data(), static_cast<long>(written.size()));
  return read_exif(written);
}

TEST(Exif, AllEightOrientationsAreReadAndOthersAreUpright) {
  for (const std::uint16_t orientation : {0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 255}) {
    const ExifTags tags =
        tagged([&](Exiv2::ExifData& exif) { exif["Exif.Image.Orientation"] = orientation; });
    EXPECT_EQ(tags.orientation, orientation >= 1 && orientation <= 8 ? orientation : 1);
  }
}

// npm's jpeg-exif 1.1.4 and exif 0.6.0: what exiv2's own program prints of them.
TEST(Exif, PositionHeightAndDirectionOfPicturesFromPhones) {
  const ExifTags six = read_exif(registry_file("jpeg-exif/test/IMG_0001.JPG"));
  EXPECT_EQ(six.orientation, 6);
  EXPECT_EQ(six.frame.taken_at, "2016-03-24T14:49:51.308");
  ASSERT_TRUE(six.frame.position);
  EXPECT_NEAR(six.frame.position->lat_deg, 40 + 15.0 / 3600, 1.0 / 3600);
  EXPECT_NEAR(six.frame.position->lon_deg, 116 + 29.0 / 60 + 5.0 / 3600, 1.0 / 3600);
  EXPECT_NEAR(*six.frame.position->altitude_m, 38.6, 0.05);
  EXPECT_EQ(six.frame.lens, "iPhone 6 Plus back camera 4.15mm f/2.2");
  const ExifTags west = read_exif(registry_file("exif/test/test1.jpg"));
  ASSERT_TRUE(west.frame.position);
  EXPECT_NEAR(west.frame.position->lon_deg, -(122 + 37.0 / 60), 1.0 / 60);
  EXPECT_NEAR(*west.frame.position->direction_deg, 7153.0 / 929, 1e-9);
}

// The receiver's UTC beside the clock's local time: 17:10:49 against 09:10:49, and 14:49:51 against
// 06:49:47.6.
TEST(Exif, TheClocksOffsetIsReadFromTheReceiversTimeWhereNoTagSaysIt) {
  EXPECT_EQ(read_exif(registry_file("exif/test/short-ascii-II.jpg")).frame.utc_offset_h, 8.0);
  EXPECT_EQ(read_exif(registry_file("jpeg-exif/test/IMG_0001.JPG")).frame.utc_offset_h, 8.0);
  const auto with_receiver_at = [](const char* time) {
    return tagged([&](Exiv2::ExifData& exif) {
             exif["Exif.Photo.DateTimeOriginal"] = "2025:05:14 10:31:02";
             exif["Exif.GPSInfo.GPSDateStamp"] = "2025:05:13";
             exif["Exif.GPSInfo.GPSTimeStamp"] = time;
           })
        .frame.utc_offset_h;
  };
  EXPECT_EQ(with_receiver_at("22/1 46/1 2/1"), 11.75);
  EXPECT_FALSE(with_receiver_at("22/1 53/1 2/1"))
      << "seven minutes off any zone: a clock that is wrong tells nothing";
  EXPECT_FALSE(with_receiver_at("10/1 31/1 2/1")) << "a day apart is no zone";
  EXPECT_FALSE(with_receiver_at("22/0 46/1 2/1"));
}

// npm's exif-js 2.3.0, whose file carries SubSecTimeOriginal 70, and exif 0.6.0.
TEST(Exif, FractionsOfSecondsAndLensNamesOfMakers) {
  const ExifTags fraction = read_exif(registry_file("exif-js/example/dsc_09827.jpg"));
  EXPECT_EQ(fraction.frame.taken_at, "2004-05-22T09:32:21.70");
  EXPECT_EQ(fraction.frame.model, "NIKON D100");
  EXPECT_EQ(read_exif(registry_file("exif/test/lens_info.jpg")).frame.lens, "Lens Model mk I");
  EXPECT_EQ(read_exif(registry_file("exif/test/sony-alpha-6000.jpg")).frame.lens,
            "E PZ 16-50mm F3.5-5.6 OSS");
  EXPECT_EQ(read_exif(registry_file("exif-parser/test/starfish.jpg")).frame.make, "Nokia");
}

TEST(Exif, OffsetTagsAndTheirFractionsBelongToTheTimeTheyStandBeside) {
  const ExifTags digitised = tagged([](Exiv2::ExifData& exif) {
    exif["Exif.Photo.DateTimeOriginal"] = "0000:00:00 00:00:00";
    exif["Exif.Photo.OffsetTimeOriginal"] = "+09:00";
    exif["Exif.Photo.DateTimeDigitized"] = "2025:05:14 10:31:02";
    exif["Exif.Photo.SubSecTimeDigitized"] = "5";
    exif["Exif.Photo.OffsetTimeDigitized"] = "-03:30";
  });
  EXPECT_EQ(digitised.frame.taken_at, "2025-05-14T10:31:02.5-03:30");
  EXPECT_EQ(digitised.frame.utc_offset_h, -3.5);
  const ExifTags whole_hours = tagged([](Exiv2::ExifData& exif) {
    exif["Exif.Photo.DateTimeOriginal"] = "2025:05:14 10:31:02";
    exif["Exif.Image.TimeZoneOffset"] = std::int16_t{-5};
  });
  EXPECT_EQ(whole_hours.frame.utc_offset_h, -5.0);
}

TEST(Exif, AbsurdValuesAreNotKnown) {
  const ExifTags tags = tagged([](Exiv2::ExifData& exif) {
    exif["Exif.Photo.FocalLength"] = Exiv2::Rational(0, 1);
    exif["Exif.Photo.FocalLengthIn35mmFilm"] = std::uint16_t{0};
    exif["Exif.Photo.FNumber"] = Exiv2::Rational(28, 0);
    exif["Exif.Photo.ExposureTime"] = Exiv2::Rational(0, 0);
    exif["Exif.Photo.FocalPlaneXResolution"] = Exiv2::Rational(0, 0);
    exif["Exif.Photo.DateTimeOriginal"] = "0000:00:00 00:00:00";
    exif["Exif.Photo.OffsetTimeOriginal"] = "+99:00";
    exif["Exif.Photo.LensModel"] = "----";
    exif["Exif.GPSInfo.GPSLatitude"] = "0/1 0/1 0/1";
    exif["Exif.GPSInfo.GPSLongitude"] = "0/1 0/1 0/1";
  });
  EXPECT_FALSE(tags.frame.focal_length_mm || tags.frame.focal_length_35mm || tags.frame.f_number ||
               tags.frame.exposure_s);
  EXPECT_FALSE(tags.focal_plane_x_px_per_mm || tags.frame.taken_at || tags.frame.taken_at_s ||
               tags.frame.utc_offset_h || tags.frame.position);
  EXPECT_EQ(tags.frame.lens, "");
}

TEST(Exif, PositionsThatCannotBeAreNotKnown) {
  const auto position = [](
                            const char* lat, const char* lon,
                            const std::function<void(Exiv2::ExifData&)>& more = [](Exiv2::ExifData&) {}) {
    return tagged([&](Exiv2::ExifData& exif) {
             exif["Exif.GPSInfo.GPSLatitude"] = lat;
             exif["Exif.GPSInfo.GPSLongitude"] = lon;
             exif["Exif.GPSInfo.GPSLatitudeRef"] = "S";
             more(exif);
           })
        .frame.position;
  };
  EXPECT_FALSE(position("95/1 0/1 0/1", "7/1 0/1 0/1"));
  EXPECT_FALSE(position("51/0 0/1 0/1", "7/1 0/1 0/1"));
  EXPECT_FALSE(position("51/1 0/1 0/1", "7/1 0/1 0/1",
                        [](Exiv2::ExifData& exif) { exif["Exif.GPSInfo.GPSStatus"] = "V"; }));
  const auto odd = position("51/1 30/1 0/0", "7/1 15/1 0/1", [](Exiv2::ExifData& exif) {
    exif["Exif.GPSInfo.GPSAltitude"] = Exiv2::Rational(400000, 1);
    exif["Exif.GPSInfo.GPSImgDirection"] = Exiv2::Rational(80, 1);
    exif["Exif.GPSInfo.GPSImgDirectionRef"] = "M";
  });
  ASSERT_TRUE(odd);
  EXPECT_NEAR(odd->lat_deg, -51.5, 1e-9);
  EXPECT_FALSE(odd->altitude_m);
  EXPECT_FALSE(odd->direction_deg) << "against magnetic north it is not a direction from true north";
  const auto below = position("51/1 30/1 0/1", "7/1 15/1 0/1", [](Exiv2::ExifData& exif) {
    exif["Exif.GPSInfo.GPSAltitude"] = Exiv2::Rational(35, 10);
    exif["Exif.GPSInfo.GPSAltitudeRef"] = "1";
  });
  EXPECT_EQ(below->altitude_m, -3.5);
}

TEST(ExifTime, BecomesIso8601) {
  EXPECT_EQ(iso_time("2025:05:14 10:31:02", "25", "+02:00"), "2025-05-14T10:31:02.25+02:00");
  EXPECT_EQ(iso_time("2025:05:14 10:31:02", "", ""), "2025-05-14T10:31:02");
}

TEST(ExifTime, AbsurdDatesAreNotKnown) {
  for (const char* absurd : {"0000:00:00 00:00:00", "2025:13:01 00:00:00", "2025:02:30 00:00:00",
                             "2025:05:14 25:00:00", "", "    :  :     :  :  "})
    EXPECT_FALSE(iso_time(absurd, "", "")) << absurd;
}

// 2000-03-01 00:00:00 is 951868800 seconds after 1970-01-01 (POSIX time; from memory, leap day of 2000
// included).
TEST(ExifTime, SecondsCountFrom1970) {
  EXPECT_EQ(clock_seconds("1970-01-02T00:00:01.5"), 86401.5);
  EXPECT_EQ(clock_seconds("2000-03-01T00:00:00+02:00"), 951868800.0);
}

}  // namespace
}  // namespace lookdown::inspect
