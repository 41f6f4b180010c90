#include "stages/report/pictures/map_layers.h"

#include <fmt/core.h>
#include <gdal_priv.h>
#include <gdal_utils.h>

#include <algorithm>
#include <functional>
#include <memory>
#include <opencv2/core.hpp>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>

#include "pipeline/base/files/file_digest.h"
#include "pipeline/imaging/encode.h"
#include "pipeline/imaging/raster_window.h"
#include "stages/report/pictures/frame_pictures.h"
#include "stages/report/tiles/tile_pyramid.h"

namespace lookdown::report {
namespace {

constexpr int kMosaicLongSide_px = 2400;
constexpr int kSourcesLongSide_px = 900;
constexpr int kSurfaceLongSide_px = 1200;
constexpr std::uint16_t kNoSource = 65535;
constexpr double kMosaicPageShare = 0.05;
/// To be raised when the same file gives another picture.
constexpr const char* kLayersVersion = "map-layers/1";

/// The picture that an earlier run drew from the same bytes, else `draw`'s.
std::string kept_or_drawn(const RunContext& context, const std::string& what, const std::string& file,
                          const std::function<std::string(const std::string&)>& draw) {
  const std::string path = (context.out / file).string();
  const std::string key = Cache::key(kLayersVersion, digest_of_file(path), what);
  if (auto kept = context.cache.find(key)) return *std::move(kept);
  std::string picture = draw(path);
  context.cache.keep(key, picture);
  return picture;
}

/// A reduced copy of a raster's first band by nearest pixels: source numbers must not be averaged.
cv::Mat reduced_band(const std::string& file) {
  GDALAllRegister();
  const GDALDatasetUniquePtr dataset(GDALDataset::Open(file.c_str(), GDAL_OF_RASTER));
  if (!dataset || dataset->GetRasterCount() < 1) return {};
  const int width = dataset->GetRasterXSize();
  const int height = dataset->GetRasterYSize();
  const double factor = std::min(1.0, static_cast<double>(kSourcesLongSide_px) / std::max(width, height));
  cv::Mat sources(std::max(1, cvRound(height * factor)), std::max(1, cvRound(width * factor)), CV_16UC1);
  const CPLErr error = dataset->GetRasterBand(1)->RasterIO(GF_Read, 0, 0, width, height, sources.data,
                                                           sources.cols, sources.rows, GDT_UInt16, 0, 0);
  return error == CE_None ? sources : cv::Mat();
}

/// The mosaic over its surround, without the marks that its own preview carries.
cv::Mat reduced_mosaic(const std::string& file) {
  GDALAllRegister();
  const GDALDatasetUniquePtr mosaic(GDALDataset::Open(file.c_str(), GDAL_OF_RASTER));
  if (!mosaic) return {};
  const int width = mosaic->GetRasterXSize(), height = mosaic->GetRasterYSize();
  const double factor = std::min(1.0, static_cast<double>(kMosaicLongSide_px) / std::max(width, height));
  const cv::Mat rgba =
      rgba_window(*mosaic, {0, 0, width, height},
                  {std::max(1, cvRound(width * factor)), std::max(1, cvRound(height * factor))});
  if (rgba.empty()) return {};
  return over_surround(rgba);
}

std::string draw_mosaic(const std::string& file, std::int64_t most_bytes) {
  const cv::Mat picture = reduced_mosaic(file);
  return picture.empty() ? std::string() : jpeg_within(picture, most_bytes);
}

std::string draw_sources(const std::string& file) {
  const cv::Mat sources = reduced_band(file);
  if (sources.empty()) return {};
  cv::Mat coded(sources.size(), CV_8UC3, cv::Scalar(0, 0, 0));
  for (int row = 0; row < sources.rows; ++row) {
    for (int column = 0; column < sources.cols; ++column) {
      const std::uint16_t source = sources.at<std::uint16_t>(row, column);
      if (source == kNoSource) continue;
      coded.at<cv::Vec3b>(row, column) = {255, static_cast<std::uint8_t>(source >> 8),
                                          static_cast<std::uint8_t>(source & 255)};
    }
  }
  return as_text(encode_png(coded, PngEffort::small));
}

std::string draw_glare(const std::string& file) {
  const cv::Mat glare = reduced_band(file);
  if (glare.empty() || cv::countNonZero(glare) == 0) return {};
  cv::Mat drawn(glare.size(), CV_8UC4, cv::Scalar(0, 0, 0, 0));
  drawn.setTo(cv::Scalar(60, 220, 255, 200), glare > 0);
  return as_text(encode_png(drawn, PngEffort::small));
}

}  // namespace

std::string mosaic_picture(const FlightRecord& record, const Options& options, const RunContext& context) {
  if (!record.mosaic) return {};
  const auto most_bytes = static_cast<std::int64_t>(options.page_megabytes * 1e6 * kMosaicPageShare);
  return kept_or_drawn(context, fmt::format("mosaic {}", most_bytes), record.mosaic->file,
                       [&](const std::string& file) { return draw_mosaic(file, most_bytes); });
}

std::string sources_picture(const FlightRecord& record, const RunContext& context) {
  if (!record.mosaic || record.mosaic->sources_file.empty()) return {};
  return kept_or_drawn(context, "sources", record.mosaic->sources_file, draw_sources);
}

std::string glare_picture(const FlightRecord& record, const RunContext& context) {
  if (!record.mosaic || record.mosaic->glare_file.empty()) return {};
  return kept_or_drawn(context, "glare", record.mosaic->glare_file, draw_glare);
}

std::string surface_picture(const FlightRecord& record, const RunContext& context) {
  if (!record.surface || record.surface->file.empty()) return {};
  GDALAllRegister();
  const GDALDatasetUniquePtr heights(
      GDALDataset::Open((context.out / record.surface->file).c_str(), GDAL_OF_RASTER));
  if (!heights) return {};
  // Light from several sides, so that no slope lies in full shade (USGS Open-File Report 92-422, as GDAL has
  // it).
  const char* const words[] = {"-of", "MEM", "-multidirectional", "-compute_edges", nullptr};
  GDALDEMProcessingOptions* options = GDALDEMProcessingOptionsNew(const_cast<char**>(words), nullptr);
  const GDALDatasetUniquePtr shaded(GDALDataset::FromHandle(
      GDALDEMProcessing("", GDALDataset::ToHandle(heights.get()), "hillshade", nullptr, options, nullptr)));
  GDALDEMProcessingOptionsFree(options);
  if (!shaded) return {};
  cv::Mat light(shaded->GetRasterYSize(), shaded->GetRasterXSize(), CV_8UC1);
  if (shaded->GetRasterBand(1)->RasterIO(GF_Read, 0, 0, light.cols, light.rows, light.data, light.cols,
                                         light.rows, GDT_Byte, 0, 0, nullptr) != CE_None)
    return {};
  cv::Mat known = light > 0;
  const double factor =
      std::min(1.0, static_cast<double>(kSurfaceLongSide_px) / std::max(light.cols, light.rows));
  cv::resize(light, light, {}, factor, factor, cv::INTER_AREA);
  cv::resize(known, known, light.size(), 0, 0, cv::INTER_NEAREST);
  cv::Mat drawn;
  cv::merge(std::vector<cv::Mat>{light, light, light, known}, drawn);
  std::vector<std::uint8_t> bytes;
  if (!cv::imencode(".png", drawn, bytes, {cv::IMWRITE_PNG_COMPRESSION, 9})) return {};
  return {bytes.begin(), bytes.end()};
}

std::vector<int> source_frames(const FlightRecord& record) {
  std::vector<int> indices;
  for (std::size_t i = 0; i < record.frames.size(); ++i) {
    if (record.frames[i].placement.placed) indices.push_back(static_cast<int>(i));
  }
  return indices;
}

}  // namespace lookdown::report
