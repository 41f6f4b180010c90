// Writing rasters larger than memory: tiles go to a working file, which then becomes a Cloud-Optimized
// GeoTIFF.
#pragma once

#include <filesystem>
#include <memory>
#include <opencv2/core.hpp>
#include <optional>
#include <string>
#include <vector>

#include "stages/mosaic/canvas.h"

class GDALDataset;

namespace lookdown::mosaic {

/// What one raster holds.
struct RasterKind {
  int bands = 4;
  int depth = CV_8U;               ///< CV_8U or CV_16U
  bool alpha = true;               ///< last band is alpha
  bool averaged_overviews = true;  ///< false: nearest, for numbers that must not be mixed
  std::optional<double> no_value = std::nullopt;
  std::vector<std::string> band_names = {};
  std::vector<std::pair<std::string, std::string>> tags = {};  ///< TIFF tags by GDAL's names
};

/// A tiled BigTIFF that grows tile by tile and is turned into its final form at the end. The working file
/// carries the mark of unfinished files, lies beside the final one and is removed by the destructor. Throws
/// WriteError.
class RasterFile {
 public:
  RasterFile(std::filesystem::path final_path, const Canvas&, RasterKind);
  ~RasterFile();
  RasterFile(const RasterFile&) = delete;
  RasterFile& operator=(const RasterFile&) = delete;

  /// `pixels` (bands interleaved, in file order: red green blue alpha) at canvas position `area`, which has
  /// its size.
  void write(const cv::Rect& area, const cv::Mat& pixels);
  /// Makes the final file. `compression`: "deflate", "zstd", "lzw", "jpeg" or "none". Nothing is written any
  /// more.
  void finish(const std::string& compression, int threads);
  /// `area` of the canvas averaged to `size`, CV_8UC4, for a raster with alpha; quick once finished, out of
  /// the overviews.
  [[nodiscard]] cv::Mat reduced(const cv::Rect& area, cv::Size size) const;

 private:
  std::filesystem::path final_path_, working_path_;
  Canvas canvas_;
  RasterKind kind_;
  GDALDataset* working_ = nullptr;  ///< the final file once finished
};

/// Limits GDAL's block cache for as long as it lives.
class BlockCacheLimit {
 public:
  explicit BlockCacheLimit(std::int64_t bytes);
  ~BlockCacheLimit();
  BlockCacheLimit(const BlockCacheLimit&) = delete;
  BlockCacheLimit& operator=(const BlockCacheLimit&) = delete;

 private:
  std::int64_t before_;
};

}  // namespace lookdown::mosaic
