#include "pipeline/imaging/formats/raster_decode.h"

#include <cpl_string.h>
#include <fmt/core.h>
#include <gdal_priv.h>

#include <cstdlib>
#include <cstring>
#include <mutex>
#include <opencv2/core.hpp>

#include "pipeline/imaging/colour/colour.h"
#include "pipeline/imaging/formats/reading_fault.h"

namespace lookdown {
namespace {

constexpr const char* kConvert = "export it again as an 8- or 16-bit RGB PNG, TIFF or JPEG";

// GDAL prints to the error stream unless told otherwise; what it says goes into the fault instead.
struct QuietGdal {
  QuietGdal() {
    static std::once_flag registered;
    std::call_once(registered, [] { GDALAllRegister(); });
    CPLPushErrorHandler(CPLQuietErrorHandler);
    CPLErrorReset();
  }
  ~QuietGdal() { CPLPopErrorHandler(); }
};

GDALDatasetUniquePtr open_raster(const std::filesystem::path& path) {
  // Only these two: GDAL knows many formats that may open further files, which a card must not be able to ask
  // for.
  const char* const drivers[] = {"PNG", "GTiff", nullptr};
  return GDALDatasetUniquePtr(
      GDALDataset::Open(path.c_str(), GDAL_OF_RASTER | GDAL_OF_READONLY | GDAL_OF_INTERNAL, drivers));
}

Result<FrameHeader> describe(GDALDataset& picture, const std::filesystem::path& path) {
  FrameHeader header;
  header.width_px = picture.GetRasterXSize();
  header.height_px = picture.GetRasterYSize();
  header.channels = picture.GetRasterCount();
  header.format = std::string(picture.GetDriverName()) == "GTiff" ? "TIFF" : "PNG";
  if (header.channels == 0) return reading_fault(path, "holds no picture", kConvert);
  const GDALDataType type = picture.GetRasterBand(1)->GetRasterDataType();
  if (type != GDT_Byte && type != GDT_UInt16)
    return reading_fault(path, fmt::format("has samples of type {}", GDALGetDataTypeName(type)), kConvert);
  const char* inks = picture.GetMetadataItem("SOURCE_COLOR_SPACE", "IMAGE_STRUCTURE");
  if ((inks && std::string(inks) == "CMYK") ||
      picture.GetRasterBand(1)->GetColorInterpretation() == GCI_CyanBand)
    return reading_fault(path, "is a CMYK picture for printing, not a camera frame",
                         "convert it to RGB first");
  header.bits = type == GDT_Byte ? 8 : 16;
  return header;
}

std::vector<std::uint8_t> profile_of(GDALDataset& picture) {
  const char* coded = picture.GetMetadataItem("SOURCE_ICC_PROFILE", "COLOR_PROFILE");
  if (!coded) return {};
  std::vector<std::uint8_t> bytes(coded, coded + std::strlen(coded) + 1);
  bytes.resize(static_cast<std::size_t>(CPLBase64DecodeInPlace(bytes.data())));
  return bytes;
}

// Replaces palette indices by their colours.
cv::Mat with_palette(const cv::Mat& indices, const GDALColorTable& palette) {
  cv::Mat table(1, 256, CV_8UC3, cv::Scalar::all(0));
  for (int i = 0; i < std::min(256, palette.GetColorEntryCount()); ++i) {
    const GDALColorEntry* entry = palette.GetColorEntry(i);
    table.at<cv::Vec3b>(i) = cv::Vec3b(static_cast<uchar>(entry->c3), static_cast<uchar>(entry->c2),
                                       static_cast<uchar>(entry->c1));
  }
  cv::Mat three, colours;
  cv::merge(std::vector<cv::Mat>{indices, indices, indices}, three);
  cv::LUT(three, table, colours);
  return colours;
}

// Samples of 1, 2 or 4 bits come as they are coded: white is 1, 3 or 15 until it is made 255.
void widen_samples(cv::Mat& grey, GDALRasterBand& band) {
  const char* bits = band.GetMetadataItem("NBITS", "IMAGE_STRUCTURE");
  const int count = bits ? std::atoi(bits) : 8;
  if (grey.depth() == CV_8U && count < 8 && count > 0) {
    const int step = 255 / ((1 << count) - 1);
    grey *= step;
  }
}

}  // namespace

Result<FrameHeader> raster_header(const std::filesystem::path& path) {
  QuietGdal quiet;
  const GDALDatasetUniquePtr picture = open_raster(path);
  if (!picture)
    return reading_fault(path, "is no picture that can be read (JPEG, PNG, TIFF, HEIF, AVIF, camera raw)",
                         "check that the file is what its name says");
  return describe(*picture, path);
}

Result<cv::Mat> decode_raster(const std::filesystem::path& path) {
  QuietGdal quiet;
  const GDALDatasetUniquePtr picture = open_raster(path);
  if (!picture)
    return reading_fault(path, "is no picture that can be read (JPEG, PNG, TIFF, HEIF, AVIF, camera raw)",
                         "check that the file is what its name says");
  const Result<FrameHeader> header = describe(*picture, path);
  if (!header) return header.error();
  const std::vector<std::uint8_t> profile =
      profile_of(*picture);  // GDAL's PNG reader no longer has it after the pixels
  const bool eight = header->bits == 8;
  const int bands = header->channels >= 3 ? 3 : 1;
  cv::Mat image(header->height_px, header->width_px, CV_MAKETYPE(eight ? CV_8U : CV_16U, bands));
  int band_order[3] = {3, 2, 1};  // GDAL's bands are red, green, blue
  if (bands == 1) band_order[0] = 1;
  const int sample_bytes = eight ? 1 : 2;
  const CPLErr error =
      picture->RasterIO(GF_Read, 0, 0, image.cols, image.rows, image.data, image.cols, image.rows,
                        eight ? GDT_Byte : GDT_UInt16, bands, band_order, bands * sample_bytes,
                        static_cast<GSpacing>(image.step[0]), sample_bytes, nullptr);
  if (error >= CE_Failure)
    return reading_fault(path, fmt::format("cannot be decoded ({})", CPLGetLastErrorMsg()),
                         "copy it again from the card");
  if (bands == 3) {
    to_working_space(image, profile);
    return image;
  }
  if (const GDALColorTable* palette = picture->GetRasterBand(1)->GetColorTable(); palette && eight)
    return with_palette(image, *palette);
  widen_samples(image, *picture->GetRasterBand(1));
  cv::Mat colours;
  cv::merge(std::vector<cv::Mat>{image, image, image}, colours);
  return colours;
}

}  // namespace lookdown
