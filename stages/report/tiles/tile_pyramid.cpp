#include "stages/report/tiles/tile_pyramid.h"

#include <fmt/format.h>
#include <gdal_priv.h>

#include <algorithm>
#include <fstream>
#include <nlohmann/json.hpp>
#include <opencv2/core.hpp>
#include <opencv2/imgcodecs.hpp>
#include <string_view>

#include "pipeline/base/files/atomic_file.h"
#include "pipeline/base/files/cache.h"
#include "pipeline/base/files/file_digest.h"
#include "pipeline/imaging/raster_window.h"

namespace lookdown::report {
namespace {

namespace fs = std::filesystem;
using nlohmann::json;

constexpr const char* kFolder = "mosaic_tiles";
/// Says what was cut, and is written last: a folder without it is unfinished.
constexpr const char* kIndex = "index.json";
/// To be raised when the same mosaic gives other tiles.
constexpr int kTilesVersion = 1;
constexpr int kJpegQuality = 85;  // common practice for aerial pictures on a screen
constexpr int kBands = 4;
/// A row of tiles is one piece of work: one open file serves it all.
constexpr std::int64_t kPeakBytes = 24'000'000;

struct RowOfTiles {
  int level = 0;
  int row = 0;
};

/// The mosaic's size halved `times` times.
cv::Size halved(cv::Size whole, int times) {
  const int part = (1 << times) - 1;
  return {(whole.width + part) >> times, (whole.height + part) >> times};
}

TilePyramid planned(cv::Size whole) {
  int halvings = 0;
  while (std::max(halved(whole, halvings).width, halved(whole, halvings).height) > kTileSide_px) ++halvings;
  TilePyramid pyramid;
  for (int left = halvings; left >= 0; --left) {
    const cv::Size size = halved(whole, left);
    TileLevel level{
        (size.width + kTileSide_px - 1) / kTileSide_px, (size.height + kTileSide_px - 1) / kTileSide_px, {}};
    level.there.assign(static_cast<std::size_t>(level.columns) * level.rows, false);
    pyramid.push_back(std::move(level));
  }
  return pyramid;
}

/// Pixels of one tile in red, green, blue, alpha; empty when they cannot be read or nothing is covered.
cv::Mat read_tile(GDALDataset& mosaic, int halvings, int row, int column) {
  const cv::Size whole(mosaic.GetRasterXSize(), mosaic.GetRasterYSize());
  const cv::Size size = halved(whole, halvings);
  const cv::Rect target =
      cv::Rect(column * kTileSide_px, row * kTileSide_px, kTileSide_px, kTileSide_px) & cv::Rect({}, size);
  const cv::Rect source = cv::Rect(target.x << halvings, target.y << halvings, target.width << halvings,
                                   target.height << halvings) &
                          cv::Rect({}, whole);
  cv::Mat tile(kTileSide_px, kTileSide_px, CV_8UC4, cv::Scalar::all(0));
  const cv::Mat read = rgba_window(mosaic, source, target.size());
  if (read.empty()) return {};
  read.copyTo(tile(cv::Rect({}, target.size())));
  cv::Mat alpha;
  cv::extractChannel(tile, alpha, kBands - 1);
  return cv::countNonZero(alpha) > 0 ? tile : cv::Mat();
}

std::vector<std::uint8_t> jpeg_of(const cv::Mat& rgba) {
  std::vector<std::uint8_t> bytes;
  if (!cv::imencode(".jpg", over_surround(rgba), bytes, {cv::IMWRITE_JPEG_QUALITY, kJpegQuality}))
    bytes.clear();
  return bytes;
}

/// Which of a row's tiles there are.
std::vector<bool> write_row(const fs::path& mosaic_file, const fs::path& folder, const RowOfTiles& work,
                            const TilePyramid& pyramid) {
  const TileLevel& level = pyramid[work.level];
  std::vector<bool> there(level.columns, false);
  const GDALDatasetUniquePtr mosaic(GDALDataset::Open(mosaic_file.c_str(), GDAL_OF_RASTER));
  if (!mosaic || mosaic->GetRasterCount() < kBands) return there;
  const int halvings = static_cast<int>(pyramid.size()) - 1 - work.level;
  for (int column = 0; column < level.columns; ++column) {
    const cv::Mat tile = read_tile(*mosaic, halvings, work.row, column);
    if (tile.empty()) continue;
    const std::vector<std::uint8_t> jpeg = jpeg_of(tile);
    if (jpeg.empty()) continue;
    write_file(folder / fmt::format("{}/{}_{}.jpg", work.level, work.row, column),
               std::string_view(reinterpret_cast<const char*>(jpeg.data()), jpeg.size()),
               Durability::survives_kill);
    there[column] = true;
  }
  return there;
}

json index_of(const TilePyramid& pyramid, const std::string& made_from) {
  json levels = json::array();
  for (const TileLevel& level : pyramid)
    levels.push_back({{"columns", level.columns}, {"rows", level.rows}, {"there", level.there}});
  return {{"version", kTilesVersion}, {"made_from", made_from}, {"levels", levels}};
}

/// What an earlier run cut; empty when it was something else or not finished.
TilePyramid earlier(const fs::path& folder, const std::string& made_from, const TilePyramid& wanted) {
  std::ifstream stream(folder / kIndex);
  const json index = json::parse(stream, nullptr, false);
  if (!index.is_object() || index.value("version", 0) != kTilesVersion ||
      index.value("made_from", std::string()) != made_from)
    return {};
  TilePyramid pyramid = wanted;
  const json levels = index.value("levels", json::array());
  if (!levels.is_array() || levels.size() != pyramid.size()) return {};
  for (std::size_t i = 0; i < pyramid.size(); ++i) {
    const json there = levels[i].is_object() ? levels[i].value("there", json::array()) : json::array();
    if (there.size() != pyramid[i].there.size()) return {};
    for (std::size_t tile = 0; tile < there.size(); ++tile) pyramid[i].there[tile] = there[tile] == true;
  }
  return pyramid;
}

}  // namespace

cv::Mat over_surround(const cv::Mat& rgba) {
  cv::Mat bgr(rgba.size(), CV_8UC3);
  for (int row = 0; row < rgba.rows; ++row) {
    for (int column = 0; column < rgba.cols; ++column) {
      const cv::Vec4b& from = rgba.at<cv::Vec4b>(row, column);
      cv::Vec3b& to = bgr.at<cv::Vec3b>(row, column);
      for (int band = 0; band < 3; ++band)
        to[2 - band] =
            static_cast<std::uint8_t>((from[band] * from[3] + kSurround[band] * (255 - from[3]) + 127) / 255);
    }
  }
  return bgr;
}

TilePyramid write_tiles(const FlightRecord& record, RunContext& context) {
  const fs::path folder = context.out / kFolder;
  std::error_code ignored;
  if (!record.mosaic || record.mosaic->file.empty()) {
    fs::remove_all(folder, ignored);
    return {};
  }
  const fs::path mosaic_file = context.out / record.mosaic->file;
  GDALAllRegister();
  cv::Size whole;
  {
    const GDALDatasetUniquePtr mosaic(GDALDataset::Open(mosaic_file.c_str(), GDAL_OF_RASTER));
    if (!mosaic || mosaic->GetRasterCount() < kBands) {
      fs::remove_all(folder, ignored);
      return {};
    }
    whole = {mosaic->GetRasterXSize(), mosaic->GetRasterYSize()};
  }
  TilePyramid pyramid = planned(whole);
  const std::string made_from = digest_of_file(mosaic_file);
  if (TilePyramid kept = earlier(folder, made_from, pyramid); !kept.empty()) return kept;

  fs::remove_all(folder, ignored);
  std::vector<RowOfTiles> rows;
  for (int level = 0; level < static_cast<int>(pyramid.size()); ++level)
    for (int row = 0; row < pyramid[level].rows; ++row) rows.push_back({level, row});
  std::vector<std::vector<bool>> written(rows.size());
  context.progress.start("tiles", rows.size());
  context.scheduler.for_each_frame(
      rows.size(), kPeakBytes,
      [&](std::size_t i) { written[i] = write_row(mosaic_file, folder, rows[i], pyramid); },
      [&](std::size_t i, const std::optional<Fault>&) {
        TileLevel& level = pyramid[rows[i].level];
        std::copy(written[i].begin(), written[i].end(),
                  level.there.begin() + static_cast<std::ptrdiff_t>(rows[i].row) * level.columns);
        context.progress.step(i + 1);
      });
  context.progress.finish();
  write_file(folder / kIndex, index_of(pyramid, made_from).dump());
  return pyramid;
}

}  // namespace lookdown::report
