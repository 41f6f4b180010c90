#include <cpl_string.h>
#include <gdal_priv.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>
// jpeglib.h needs FILE declared before it.
#include <jpeglib.h>
#include <cstdio>
#ifdef LOOKDOWN_TEST_HEIF
#include <libheif/heif.h>
#endif

#include <filesystem>
#include <opencv2/core.hpp>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>

#include "pipeline/imaging/colour/colour.h"
#include "pipeline/imaging/frame_reader.h"
#include "program_run.h"

namespace lookdown {
namespace {

namespace fs = std::filesystem;
using ::testing::HasSubstr;

cv::Mat soft_picture(int width, int height, int type = CV_8UC3) {
  cv::Mat noise(height, width, CV_32FC3), picture;
  cv::randu(noise, 0, 1);
  cv::GaussianBlur(noise, noise, {}, 8);
  cv::normalize(noise, noise, 0, 1, cv::NORM_MINMAX);
  noise.convertTo(picture, type, CV_MAT_DEPTH(type) == CV_16U ? 65535 : 255);
  return picture;
}

class OtherFormats : public ::testing::Test {
 protected:
  void write_tiff(const fs::path& file, const cv::Mat& bgr,
                  const std::vector<std::pair<const char*, const char*>>& how) const {
    GDALAllRegister();
    CPLStringList options;
    for (const auto& [name, value] : how) options.SetNameValue(name, value);
    const GDALDataType type = bgr.depth() == CV_16U ? GDT_UInt16 : GDT_Byte;
    const GDALDatasetUniquePtr tiff(GetGDALDriverManager()->GetDriverByName("GTiff")->Create(
        file.c_str(), bgr.cols, bgr.rows, bgr.channels(), type, options.List()));
    ASSERT_TRUE(tiff);
    int reversed[] = {3, 2, 1, 4};
    const int sample = static_cast<int>(bgr.elemSize1());
    ASSERT_EQ(tiff->RasterIO(GF_Write, 0, 0, bgr.cols, bgr.rows, bgr.data, bgr.cols, bgr.rows, type,
                             bgr.channels(), reversed, static_cast<GSpacing>(bgr.elemSize()),
                             static_cast<GSpacing>(bgr.step[0]), sample, nullptr),
              CE_None);
  }
  TemporaryFolder folder_;
  FrameReader reader_;
};

// White of one bit a pixel is white (PNG specification, section 13.12: samples are scaled linearly); OpenCV's
// own reader says the same.
TEST_F(OtherFormats, BilevelPngIsBlackAndWhite) {
  cv::Mat mask(37, 53, CV_8UC1, cv::Scalar(0));
  mask(cv::Rect(5, 7, 20, 11)).setTo(255);
  const fs::path file = folder_.path() / "mask.png";
  ASSERT_TRUE(cv::imwrite(file.string(), mask, {cv::IMWRITE_PNG_BILEVEL, 1}));
  const auto grey = reader_.grey(file);
  ASSERT_TRUE(grey.has_value());
  EXPECT_EQ(cv::norm(*grey, mask, cv::NORM_INF), 0);
  EXPECT_EQ(cv::norm(*grey, cv::imread(file.string(), cv::IMREAD_GRAYSCALE), cv::NORM_INF), 0);
}

// Ways that TIFF 6.0 and its supplements store the same pixels, written by GDAL.
TEST_F(OtherFormats, TiffComesBackUnchangedHoweverItIsStored) {
  using How = std::vector<std::pair<const char*, const char*>>;
  const std::vector<How> ways{{{"TILED", "YES"},
                               {"BLOCKXSIZE", "64"},
                               {"BLOCKYSIZE", "64"},
                               {"COMPRESS", "DEFLATE"},
                               {"PREDICTOR", "2"}},
                              {{"COMPRESS", "LZW"}},
                              {{"COMPRESS", "PACKBITS"}},
                              {{"INTERLEAVE", "BAND"}, {"COMPRESS", "LZW"}},
                              {{"ENDIANNESS", "BIG"}},
                              {{"BIGTIFF", "YES"}, {"TILED", "YES"}}};
  for (const int type : {CV_8UC3, CV_16UC3})
    for (std::size_t i = 0; i < ways.size(); ++i) {
      const cv::Mat picture = soft_picture(201, 133, type);
      const fs::path file = folder_.path() / ("way" + std::to_string(i) + ".TIFF");
      write_tiff(file, picture, ways[i]);
      const auto read = reader_.bgr_native(file);
      ASSERT_TRUE(read) << read.error().message();
      EXPECT_EQ(read->type(), type);
      EXPECT_EQ(cv::norm(*read, picture, cv::NORM_INF), 0) << "way " << i;
    }
}

TEST_F(OtherFormats, CmykPicturesAreRefusedInPlainWords) {
  const cv::Mat inks(100, 120, CV_8UC4, cv::Scalar(10, 20, 30, 40));
  write_tiff(folder_.path() / "inks.tif", inks, {{"PHOTOMETRIC", "CMYK"}});
  std::FILE* stream = std::fopen((folder_.path() / "inks.jpg").c_str(), "wb");
  jpeg_compress_struct codec;
  jpeg_error_mgr errors;
  codec.err = jpeg_std_error(&errors);
  jpeg_create_compress(&codec);
  jpeg_stdio_dest(&codec, stream);
  codec.image_width = 120;
  codec.image_height = 100;
  codec.input_components = 4;
  codec.in_color_space = JCS_CMYK;
  jpeg_set_defaults(&codec);
  jpeg_start_compress(&codec, TRUE);
  for (int row = 0; row < inks.rows; ++row) {
    JSAMPROW line = const_cast<uchar*>(inks.ptr(row));
    jpeg_write_scanlines(&codec, &line, 1);
  }
  jpeg_finish_compress(&codec);
  jpeg_destroy_compress(&codec);
  std::fclose(stream);
  for (const char* name : {"inks.tif", "inks.jpg"}) {
    const auto read = reader_.bgr(folder_.path() / name);
    ASSERT_FALSE(read) << name;
    EXPECT_THAT(read.error().message(), HasSubstr("CMYK"));
  }
}

TEST_F(OtherFormats, ProgressiveJpegGivesTheSamePixelsAsBaseline) {
  const cv::Mat picture = soft_picture(403, 301);
  const fs::path plain = folder_.path() / "plain.jpg", progressive = folder_.path() / "progressive.jpg";
  cv::imwrite(plain.string(), picture, {cv::IMWRITE_JPEG_QUALITY, 93});
  cv::imwrite(progressive.string(), picture, {cv::IMWRITE_JPEG_QUALITY, 93, cv::IMWRITE_JPEG_PROGRESSIVE, 1});
  for (const int reduction : {1, 2, 4, 8})
    EXPECT_EQ(cv::norm(*reader_.bgr(plain, reduction), *reader_.bgr(progressive, reduction), cv::NORM_INF), 0)
        << reduction;
  fs::resize_file(progressive, fs::file_size(progressive) / 2);
  EXPECT_FALSE(reader_.bgr(progressive));
}

#ifdef LOOKDOWN_TEST_HEIF

struct HeifWay {
  heif_compression_format format;
  int bits;
  std::vector<std::uint8_t> icc;
};

// Through libheif's own encoders; false where the library has none for the format.
bool write_heif(const fs::path& file, const cv::Mat& bgr, const HeifWay& way) {
  heif_context* context = heif_context_alloc();
  heif_encoder* encoder = nullptr;
  if (heif_context_get_encoder_for_format(context, way.format, &encoder).code != heif_error_Ok) {
    heif_context_free(context);
    return false;
  }
  heif_encoder_set_lossy_quality(encoder, 95);
  // Debian's libaom asserts on colours at full resolution that libheif hands to it.
  if (way.format == heif_compression_HEVC) heif_encoder_set_parameter(encoder, "chroma", "444");
  heif_image* image = nullptr;
  heif_image_create(bgr.cols, bgr.rows, heif_colorspace_RGB,
                    way.bits > 8 ? heif_chroma_interleaved_RRGGBB_LE : heif_chroma_interleaved_RGB, &image);
  heif_image_add_plane(image, heif_channel_interleaved, bgr.cols, bgr.rows, way.bits);
  int stride = 0;
  std::uint8_t* plane = heif_image_get_plane(image, heif_channel_interleaved, &stride);
  cv::Mat rgb;
  cv::cvtColor(bgr, rgb, cv::COLOR_BGR2RGB);
  if (way.bits > 8) rgb.convertTo(rgb, CV_16U, ((1 << way.bits) - 1) / 65535.0);
  rgb.copyTo(cv::Mat(bgr.rows, bgr.cols, rgb.type(), plane, static_cast<std::size_t>(stride)));
  if (!way.icc.empty()) heif_image_set_raw_color_profile(image, "prof", way.icc.data(), way.icc.size());
  heif_image_handle* handle = nullptr;
  bool written = heif_context_encode_image(context, image, encoder, nullptr, &handle).code == heif_error_Ok;
  written = written && heif_context_write_to_file(context, file.c_str()).code == heif_error_Ok;
  heif_image_handle_release(handle);
  heif_image_release(image);
  heif_encoder_release(encoder);
  heif_context_free(context);
  return written;
}

TEST_F(OtherFormats, HeifAndAvifAreReadInEightAndTenBits) {
  for (const auto& [name, way] : {std::pair("a.HEIC", HeifWay{heif_compression_HEVC, 8, {}}),
                                  std::pair("a.avif", HeifWay{heif_compression_AV1, 8, {}}),
                                  std::pair("deep.hif", HeifWay{heif_compression_HEVC, 10, {}})}) {
    const cv::Mat picture = soft_picture(320, 192, way.bits > 8 ? CV_16UC3 : CV_8UC3);
    if (!write_heif(folder_.path() / name, picture, way)) continue;
    const auto header = reader_.header(folder_.path() / name);
    ASSERT_TRUE(header) << header.error().message();
    EXPECT_EQ(header->format, std::string(name).ends_with("avif") ? "AVIF" : "HEIF");
    EXPECT_EQ(header->width_px, 320);
    const auto native = reader_.bgr_native(folder_.path() / name);
    ASSERT_TRUE(native) << native.error().message();
    ASSERT_EQ(native->type(), picture.type());
    EXPECT_LT(cv::norm(*native, picture, cv::NORM_L1) / static_cast<double>(picture.total() * 3),
              way.bits > 8 ? 4 * 257 : 4)
        << name;
    const auto grey = reader_.grey(folder_.path() / name, 4);
    ASSERT_TRUE(grey);
    EXPECT_EQ(grey->size(), cv::Size(80, 48));
  }
}

TEST_F(OtherFormats, ProfilesInsideHeifAreHonoured) {
  const cv::Mat picture = soft_picture(320, 192);
  const fs::path plain = folder_.path() / "plain.heic", tagged = folder_.path() / "tagged.heic";
  if (!write_heif(plain, picture, {heif_compression_HEVC, 8, {}}))
    GTEST_SKIP() << "libheif has no HEVC encoder here";
  ASSERT_TRUE(write_heif(tagged, picture, {heif_compression_HEVC, 8, display_p3_profile()}));
  cv::Mat wanted = *reader_.bgr(plain);
  to_working_space(wanted, display_p3_profile());
  EXPECT_GT(cv::norm(wanted, *reader_.bgr(plain), cv::NORM_INF), 10);
  EXPECT_LE(cv::norm(*reader_.bgr(tagged), wanted, cv::NORM_INF), 2);
}

TEST_F(OtherFormats, ATruncatedHeifIsAFault) {
  const fs::path file = folder_.path() / "a.heic";
  if (!write_heif(file, soft_picture(320, 192), {heif_compression_HEVC, 8, {}}))
    GTEST_SKIP() << "libheif has no HEVC encoder here";
  fs::resize_file(file, fs::file_size(file) / 2);
  const auto read = reader_.bgr(file);
  ASSERT_FALSE(read);
  EXPECT_THAT(read.error().message(), HasSubstr("a.heic"));
}

#endif

}  // namespace
}  // namespace lookdown
