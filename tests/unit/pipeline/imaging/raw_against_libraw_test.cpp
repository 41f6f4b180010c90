// Developed frames against what LibRaw itself writes of the same files with its own sRGB curve and its own
// turn, over patterns of the sensor, black levels, masked rims and orientations; and against the light that
// the files were made from.
#include <gtest/gtest.h>
#include <libraw.h>

#include <cmath>
#include <memory>
#include <opencv2/core.hpp>
#include <opencv2/imgproc.hpp>
#include <string>

#include "made_dng/made_dng.h"
#include "pipeline/imaging/formats/raw_decode.h"
#include "pipeline/imaging/frame_reader.h"
#include "program_run.h"

namespace lookdown {
namespace {

struct Released {
  void operator()(libraw_processed_image_t* image) const { LibRaw::dcraw_clear_mem(image); }
};

/// As dcraw_emu -w -W -6 -o 1 -g 2.4 12.92 writes it; BGR, turned as the file asks.
cv::Mat by_libraw(const std::filesystem::path& file) {
  LibRaw raw;
  auto& wanted = raw.imgdata.params;
  wanted.output_bps = 16;
  wanted.gamm[0] = 1 / 2.4;
  wanted.gamm[1] = 12.92;
  wanted.use_camera_wb = 1;
  wanted.no_auto_bright = 1;
  wanted.adjust_maximum_thr = 0;
  if (raw.open_file(file.c_str()) != LIBRAW_SUCCESS || raw.unpack() != LIBRAW_SUCCESS ||
      raw.dcraw_process() != LIBRAW_SUCCESS)
    return {};
  int code = 0;
  const std::unique_ptr<libraw_processed_image_t, Released> image(raw.dcraw_make_mem_image(&code));
  if (!image) return {};
  cv::Mat bgr;
  cv::cvtColor(cv::Mat(image->height, image->width, CV_16UC3, image->data), bgr, cv::COLOR_RGB2BGR);
  return bgr;
}

cv::Mat turned(const cv::Mat& stored, int orientation) {
  cv::Mat shown = stored.clone();
  if (orientation == 3) cv::rotate(stored, shown, cv::ROTATE_180);
  if (orientation == 6) cv::rotate(stored, shown, cv::ROTATE_90_CLOCKWISE);
  if (orientation == 8) cv::rotate(stored, shown, cv::ROTATE_90_COUNTERCLOCKWISE);
  return shown;
}

/// A slow change of tone from shadow to light, another colour in each corner.
cv::Mat slow_light() {
  cv::Mat light(96, 144, CV_64FC3);
  for (int y = 0; y < light.rows; ++y)
    for (int x = 0; x < light.cols; ++x) {
      const double right = x / 143.0, down = y / 95.0;
      light.at<cv::Vec3d>(y, x) = {0.004 + 0.6 * right * down, 0.004 + 0.7 * right, 0.004 + 0.6 * down};
    }
  return light;
}

struct Kind {
  const char* pattern;
  std::array<int, 4> black;
  int masked_columns, masked_rows, orientation;
};

class RawAgainstLibRaw : public ::testing::TestWithParam<Kind> {};

TEST_P(RawAgainstLibRaw, DevelopsTheSame) {
  const Kind kind = GetParam();
  const TemporaryFolder folder;
  const auto file = folder.path() / "shot.dng";
  const cv::Mat light = slow_light();
  write_dng(file, {.linear_bgr = light,
                   .orientation = kind.orientation,
                   .pattern = kind.pattern,
                   .black = kind.black,
                   .masked_columns = kind.masked_columns,
                   .masked_rows = kind.masked_rows});
  const auto read = FrameReader().bgr_native(file);
  ASSERT_TRUE(read) << read.error().message();
  const cv::Mat theirs = by_libraw(file);
  const cv::Mat ours = turned(*read, kind.orientation);
  ASSERT_EQ(ours.size(), theirs.size());
  // LibRaw's curve is a table of 16-bit light: steps of 12.92 levels at the dark end, of which half may be
  // lost.
  EXPECT_LE(cv::norm(ours, theirs, cv::NORM_INF), 13);
  // LibRaw leaves out the first column or row where the rim is odd.
  ASSERT_LE(light.cols - read->cols, kind.masked_columns % 2);
  ASSERT_LE(light.rows - read->rows, kind.masked_rows % 2);
  cv::Mat expected =
      light(cv::Rect(light.cols - read->cols, light.rows - read->rows, read->cols, read->rows)).clone();
  for (int row = 0; row < expected.rows; ++row)
    for (int column = 0; column < expected.cols; ++column)
      for (double& value : expected.at<cv::Vec3d>(row, column).val)  // IEC 61966-2-1
        value = 65535 * (value <= 0.0031308 ? 12.92 * value : 1.055 * std::pow(value, 1 / 2.4) - 0.055);
  cv::Mat found, apart;
  read->convertTo(found, CV_64F);
  cv::absdiff(found, expected, apart);
  // Away from the rim, where neighbours are missing; one of eight bits is 257.
  const cv::Scalar mean = cv::mean(apart(cv::Rect(4, 4, expected.cols - 8, expected.rows - 8)));
  for (int channel = 0; channel < 3; ++channel) EXPECT_LT(mean[channel], 257) << channel;
}

INSTANTIATE_TEST_SUITE_P(Kinds, RawAgainstLibRaw,
                         ::testing::Values(Kind{"RGGB", {512, 512, 512, 512}, 0, 0, 1},
                                           Kind{"GRBG", {512, 530, 498, 520}, 0, 0, 3},
                                           Kind{"BGGR", {64, 64, 64, 64}, 8, 4, 6},
                                           Kind{"GBRG", {0, 0, 0, 0}, 3, 5, 8},
                                           Kind{"RGGB", {1024, 1020, 1030, 1024}, 7, 2, 1}));

}  // namespace
}  // namespace lookdown
