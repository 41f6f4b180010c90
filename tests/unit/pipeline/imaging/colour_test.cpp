#include "pipeline/imaging/colour/colour.h"

#include <cpl_string.h>
#include <gdal_priv.h>
#include <gtest/gtest.h>
#include <lcms2.h>

#include <cmath>
#include <exiv2/exiv2.hpp>
#include <filesystem>
#include <opencv2/core.hpp>
#include <opencv2/imgcodecs.hpp>

#include "pipeline/imaging/frame_reader.h"
#include "program_run.h"

namespace lookdown {
namespace {

namespace fs = std::filesystem;

cv::Mat every_colour() {
  cv::Mat picture(64, 216, CV_8UC3);
  for (int i = 0; i < 216; ++i) picture.col(i).setTo(cv::Scalar(i % 6 * 51, i / 6 % 6 * 51, i / 36 * 51));
  return picture;
}

// What Little CMS's own transform makes of the same numbers, asked in another layout and depth than the
// program uses.
cv::Mat by_little_cms(const cv::Mat& bgr, const std::vector<std::uint8_t>& icc) {
  cv::Mat bgr_double, out;
  bgr.convertTo(bgr_double, CV_64F, 1 / 255.0);
  const cmsHPROFILE from = cmsOpenProfileFromMem(icc.data(), static_cast<cmsUInt32Number>(icc.size()));
  const cmsHPROFILE to = cmsCreate_sRGBProfile();
  const cmsUInt32Number layout = TYPE_BGR_DBL;
  const cmsHTRANSFORM transform =
      cmsCreateTransform(from, layout, to, layout, INTENT_RELATIVE_COLORIMETRIC, 0);
  out.create(bgr.size(), CV_64FC3);
  for (int row = 0; row < bgr.rows; ++row)
    cmsDoTransform(transform, bgr_double.ptr(row), out.ptr(row), static_cast<cmsUInt32Number>(bgr.cols));
  cmsDeleteTransform(transform);
  cmsCloseProfile(from);
  cmsCloseProfile(to);
  cv::Mat eight;
  out.convertTo(eight, CV_8U, 255);
  return eight;
}

void set_profile(const fs::path& file, const std::vector<std::uint8_t>& icc) {
  const auto picture = Exiv2::ImageFactory::open(file.string());
  picture->readMetadata();
  Exiv2::DataBuf profile(icc.data(), static_cast<long>(icc.size()));
  picture->setIccProfile(profile, true);
  picture->writeMetadata();
}

// GDAL writes the profile where it is given as a creation option (GDAL documentation of the PNG and GTiff
// drivers).
void write_with_gdal(const fs::path& file, const char* driver, const cv::Mat& bgr,
                     const std::vector<std::uint8_t>& icc) {
  GDALAllRegister();
  const GDALDatasetUniquePtr memory(
      GetGDALDriverManager()->GetDriverByName("MEM")->Create("", bgr.cols, bgr.rows, 3, GDT_Byte, nullptr));
  int bands[] = {3, 2, 1};
  ASSERT_EQ(memory->RasterIO(GF_Write, 0, 0, bgr.cols, bgr.rows, bgr.data, bgr.cols, bgr.rows, GDT_Byte, 3,
                             bands, 3, static_cast<GSpacing>(bgr.step[0]), 1, nullptr),
            CE_None);
  char* coded = CPLBase64Encode(static_cast<int>(icc.size()), icc.data());
  CPLStringList options;
  options.SetNameValue("SOURCE_ICC_PROFILE", coded);
  options.SetNameValue("SOURCE_ICC_PROFILE_NAME", "made here");
  CPLFree(coded);
  const GDALDatasetUniquePtr written(GetGDALDriverManager()->GetDriverByName(driver)->CreateCopy(
      file.c_str(), memory.get(), false, options.List(), nullptr, nullptr));
  ASSERT_TRUE(written);
}

TEST(Colour, AgreesWithLittleCmsWithinOneStep) {
  for (const auto& icc : {adobe_rgb_profile(), display_p3_profile()}) {
    const cv::Mat picture = every_colour();
    cv::Mat ours = picture.clone();
    to_working_space(ours, icc);
    EXPECT_GT(cv::norm(ours, picture, cv::NORM_INF), 20);
    EXPECT_LE(cv::norm(ours, by_little_cms(picture, icc), cv::NORM_INF), 1);
  }
}

TEST(Colour, SixteenBitAgreesWithEightBit) {
  cv::Mat eight = every_colour(), sixteen;
  eight.convertTo(sixteen, CV_16U, 257);
  to_working_space(eight, adobe_rgb_profile());
  to_working_space(sixteen, adobe_rgb_profile());
  cv::Mat back;
  sixteen.convertTo(back, CV_8U, 1 / 257.0);
  EXPECT_LE(cv::norm(eight, back, cv::NORM_INF), 1);
}

// Adobe RGB (1998) Color Image Encoding, annex: both encodings have the same red and blue chromaticity and
// white, so greys keep their luminance: 0.5^2.19921875 = 0.2177 linear, which the sRGB curve (IEC 61966-2-1)
// writes as 1.055 * 0.2177^(1/2.4) - 0.055 = 0.5037. Its green (0, 1, 0) lies outside sRGB.
TEST(Colour, AdobeRgbGreysKeepTheirLuminanceAndItsColoursGainSaturation) {
  cv::Mat picture(1, 2, CV_16UC3);
  picture.at<cv::Vec3w>(0) = cv::Vec3w(32768, 32768, 32768);
  picture.at<cv::Vec3w>(1) = cv::Vec3w(20000, 40000, 20000);
  to_working_space(picture, adobe_rgb_profile());
  const double grey = 1.055 * std::pow(std::pow(32768 / 65535.0, 2.19921875), 1 / 2.4) - 0.055;
  for (int channel = 0; channel < 3; ++channel)
    EXPECT_NEAR(picture.at<cv::Vec3w>(0)[channel] / 65535.0, grey, 0.002);
  const cv::Vec3w green = picture.at<cv::Vec3w>(1);
  EXPECT_GT(green[1] - green[2], 25000) << "a muted green of Adobe RGB is a stronger one in sRGB";
}

TEST(Colour, SrgbDamagedAndForeignProfilesChangeNothing) {
  const cmsHPROFILE srgb = cmsCreate_sRGBProfile();
  cmsUInt32Number size = 0;
  cmsSaveProfileToMem(srgb, nullptr, &size);
  std::vector<std::uint8_t> icc(size);
  cmsSaveProfileToMem(srgb, icc.data(), &size);
  cmsCloseProfile(srgb);
  const cmsHPROFILE lab = cmsCreateLab4Profile(nullptr);
  cmsSaveProfileToMem(lab, nullptr, &size);
  std::vector<std::uint8_t> lab_icc(size);
  cmsSaveProfileToMem(lab, lab_icc.data(), &size);
  cmsCloseProfile(lab);
  std::vector<std::uint8_t> cut = adobe_rgb_profile();
  cut.resize(cut.size() / 3);
  for (const auto& profile :
       {icc, lab_icc, cut, std::vector<std::uint8_t>(300, 7), std::vector<std::uint8_t>()}) {
    cv::Mat picture = every_colour();
    to_working_space(picture, profile);
    EXPECT_EQ(cv::norm(picture, every_colour(), cv::NORM_INF), 0);
  }
}

TEST(Colour, ProfilesInsideFilesAreHonoured) {
  const TemporaryFolder folder;
  const FrameReader reader;
  const cv::Mat wanted = by_little_cms(every_colour(), adobe_rgb_profile());
  for (const auto& [name, driver] : {std::pair("a.png", "PNG"), std::pair("a.tif", "GTiff")}) {
    write_with_gdal(folder.path() / name, driver, every_colour(), adobe_rgb_profile());
    const auto tagged = reader.bgr(folder.path() / name);
    ASSERT_TRUE(tagged) << name;
    EXPECT_LE(cv::norm(*tagged, wanted, cv::NORM_INF), 1) << name;
  }
  const fs::path file = folder.path() / "a.jpg";
  cv::imwrite(file.string(), every_colour(), {cv::IMWRITE_JPEG_QUALITY, 98});
  const auto plain = reader.bgr(file);
  set_profile(file, adobe_rgb_profile());
  const auto tagged = reader.bgr(file);
  ASSERT_TRUE(plain && tagged);
  EXPECT_LE(cv::norm(*tagged, by_little_cms(*plain, adobe_rgb_profile()), cv::NORM_INF), 1);
}

TEST(Colour, ExifInteroperabilityR03MeansAdobeRgbUntilAProfileSaysOtherwise) {
  const TemporaryFolder folder;
  const FrameReader reader;
  const fs::path file = folder.path() / "_a.jpg";
  cv::imwrite(file.string(), every_colour(), {cv::IMWRITE_JPEG_QUALITY, 98});
  const auto plain = reader.bgr(file);
  const auto picture = Exiv2::ImageFactory::open(file.string());
  picture->readMetadata();
  picture->exifData()["Exif.Photo.ColorSpace"] = std::uint16_t{65535};
  picture->exifData()["Exif.Iop.InteroperabilityIndex"] = "R03";
  picture->writeMetadata();
  const auto tagged = reader.bgr(file);
  ASSERT_TRUE(plain && tagged);
  EXPECT_LE(cv::norm(*tagged, by_little_cms(*plain, adobe_rgb_profile()), cv::NORM_INF), 1);
  const auto reduced = reader.bgr(file, 2);
  ASSERT_TRUE(reduced);
  EXPECT_EQ(reduced->cols, 108);
  picture->exifData()["Exif.Iop.InteroperabilityIndex"] = "R98";
  picture->writeMetadata();
  EXPECT_EQ(cv::norm(*reader.bgr(file), *plain, cv::NORM_INF), 0);
}

}  // namespace
}  // namespace lookdown
