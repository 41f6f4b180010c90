// Writes small camera raw files of known content: uncompressed 16-bit DNG with a Bayer pattern, after the
// Digital Negative Specification 1.4 (tags, colour model) and TIFF 6.0 (layout).
#pragma once

#include <array>
#include <filesystem>
#include <opencv2/core/mat.hpp>
#include <string>

namespace lookdown {

struct MadeDng {
  cv::Mat linear_bgr =
      {};  ///< CV_64FC3, linear light in sRGB primaries, 0..1: what the developed frame should show
  cv::Mat preview_bgr = {};                        ///< CV_8UC3, becomes the camera's JPEG inside; empty: none
  std::array<double, 3> neutral{0.5, 1.0, 0.625};  ///< what the sensor sees of white: red, green, blue
  std::string taken_at = "2025:05:14 10:31:02";
  int orientation = 1;
  std::string pattern = "RGGB";  ///< colours of the sensor's first two rows of two
  /// What the sensor tells where no light falls, by place in the pattern.
  std::array<int, 4> black{512, 512, 512, 512};
  int white = 16383;
  /// Columns and rows of the sensor that lie behind its mask, left of and above the picture (and, as many,
  /// right of and below it).
  int masked_columns = 0, masked_rows = 0;
  double focal_mm = 28, focal_35mm = 0;  ///< the second 0: not told
  double exposure_s = 0.002, f_number = 4, iso = 200;
};

/// The camera's primaries are those of sRGB.
void write_dng(const std::filesystem::path& file, const MadeDng&);

}  // namespace lookdown
