#include "stages/report/tiles/tile_pyramid.h"

#include <fmt/format.h>
#include <gdal_priv.h>

#include <algorithm>
#include <cstdlib>
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
constexpr int kTilesVersion = 2;
constexpr int kJpegQuality = 85;  // common practice for aerial pictures on a screen
constexpr int kBands = 4;
/// A row of tiles is one piece of work: one open file serves it all.
constexpr std::int64_t kPeakBytes = 24'000'000;

struct RowOfTiles {
  int level = 0;
  int row = 0;
};

/// Digests of what a tile was cut from and of the picture that was written; the second empty: none.
struct Cut {
  std::string block, picture;
  bool operator==(const Cut&) const = default;
};
/// Of all tiles of a pyramid, row by row.
using Cuts = std::vector<std::vector<Cut>>;

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

/// Of the bytes in which the mosaic's file holds the tile: its blocks and those of its overviews are as large
/// as tiles. Empty when the file is cut otherwise.
std::string digest_of_block(GDALDataset& mosaic, std::ifstream& file, int halvings, int row, int column) {
  GDALRasterBand* band = mosaic.GetRasterBand(1);
  const cv::Size size = halved({mosaic.GetRasterXSize(), mosaic.GetRasterYSize()}, halvings);
  for (int i = 0; halvings > 0 && i < mosaic.GetRasterBand(1)->GetOverviewCount(); ++i)
    if (GDALRasterBand* smaller = mosaic.GetRasterBand(1)->GetOverview(i);
        smaller->GetXSize() == size.width && smaller->GetYSize() == size.height)
      band = smaller;
  int across = 0, down = 0;
  band->GetBlockSize(&across, &down);
  if (across != kTileSide_px || down != kTileSide_px || band->GetXSize() != size.width ||
      band->GetYSize() != size.height)
    return {};
  const auto fact = [&](const char* of) -> std::size_t {
    const char* text = band->GetMetadataItem(fmt::format("BLOCK_{}_{}_{}", of, column, row).c_str(), "TIFF");
    return text == nullptr ? 0 : std::strtoull(text, nullptr, 10);
  };
  std::string bytes(fact("SIZE"), '\0');
  file.clear();
  file.seekg(static_cast<std::streamoff>(fact("OFFSET")));
  file.read(bytes.data(), static_cast<std::streamsize>(bytes.size()));
  return file ? digest(bytes) : std::string();
}

fs::path file_of(const fs::path& folder, const RowOfTiles& work, int column) {
  return folder / fmt::format("{}/{}_{}.jpg", work.level, work.row, column);
}

/// Cuts and writes one tile; the digest of its picture, empty when there is none.
std::string write_tile(GDALDataset& mosaic, int halvings, int row, int column, const fs::path& file) {
  const cv::Mat tile = read_tile(mosaic, halvings, row, column);
  const std::vector<std::uint8_t> jpeg = tile.empty() ? std::vector<std::uint8_t>() : jpeg_of(tile);
  if (jpeg.empty()) {
    fs::remove(file);
    return {};
  }
  const std::string_view bytes(reinterpret_cast<const char*>(jpeg.data()), jpeg.size());
  write_file(file, bytes, Durability::survives_kill);
  return digest(bytes);
}

/// True when the tile that lies there was cut from the same block.
bool stays(const Cut& before, const std::string& block, const fs::path& file) {
  if (block.empty() || before.block != block) return false;
  return before.picture.empty() ? !fs::exists(file) : digest_of_file(file) == before.picture;
}

/// Writes those tiles of a row whose part of the mosaic has changed; `before`: of all tiles, or empty.
std::vector<Cut> write_row(const fs::path& mosaic_file, const fs::path& folder, const RowOfTiles& work,
                           const TilePyramid& pyramid, const Cuts& before) {
  const TileLevel& level = pyramid[work.level];
  std::vector<Cut> cuts(level.columns);
  const GDALDatasetUniquePtr mosaic(GDALDataset::Open(mosaic_file.c_str(), GDAL_OF_RASTER));
  if (!mosaic || mosaic->GetRasterCount() < kBands) return cuts;
  std::ifstream bytes(mosaic_file, std::ios::binary);
  const int halvings = static_cast<int>(pyramid.size()) - 1 - work.level;
  for (int column = 0; column < level.columns; ++column) {
    const fs::path file = file_of(folder, work, column);
    Cut& cut = cuts[column];
    cut.block = digest_of_block(*mosaic, bytes, halvings, work.row, column);
    const std::size_t place = static_cast<std::size_t>(work.row) * level.columns + column;
    if (!before.empty() && stays(before[work.level][place], cut.block, file))
      cut = before[work.level][place];
    else
      cut.picture = write_tile(*mosaic, halvings, work.row, column, file);
  }
  return cuts;
}

json index_of(const TilePyramid& pyramid, const Cuts& cuts, const std::string& made_from) {
  json levels = json::array();
  for (std::size_t i = 0; i < pyramid.size(); ++i) {
    json tiles = json::array();
    for (const Cut& cut : cuts[i]) tiles.push_back({cut.block, cut.picture});
    levels.push_back({{"columns", pyramid[i].columns}, {"rows", pyramid[i].rows}, {"tiles", tiles}});
  }
  return {{"version", kTilesVersion}, {"made_from", made_from}, {"levels", levels}};
}

/// What an earlier run cut into tiles of the same sizes; empty when there is none or it did not finish.
struct Earlier {
  std::string made_from;
  Cuts cuts;
};

Earlier earlier(const fs::path& folder, const TilePyramid& wanted) {
  std::ifstream stream(folder / kIndex);
  const json index = json::parse(stream, nullptr, false);
  if (!index.is_object() || index.value("version", 0) != kTilesVersion) return {};
  Earlier found{index.value("made_from", std::string()), Cuts(wanted.size())};
  const json levels = index.value("levels", json::array());
  if (!levels.is_array() || levels.size() != wanted.size()) return {};
  for (std::size_t i = 0; i < wanted.size(); ++i) {
    const json tiles = levels[i].is_object() ? levels[i].value("tiles", json::array()) : json::array();
    if (levels[i].value("columns", 0) != wanted[i].columns || tiles.size() != wanted[i].there.size())
      return {};
    for (const json& tile : tiles)
      found.cuts[i].push_back({tile.at(0).get<std::string>(), tile.at(1).get<std::string>()});
  }
  return found;
}

void note_which_are_there(const Cuts& cuts, TilePyramid& pyramid) {
  for (std::size_t i = 0; i < pyramid.size(); ++i)
    std::transform(cuts[i].begin(), cuts[i].end(), pyramid[i].there.begin(),
                   [](const Cut& cut) { return !cut.picture.empty(); });
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
  const Earlier before = earlier(folder, pyramid);
  if (!before.cuts.empty() && before.made_from == made_from) {
    note_which_are_there(before.cuts, pyramid);
    return pyramid;
  }

  if (before.cuts.empty()) fs::remove_all(folder, ignored);
  fs::remove(folder / kIndex, ignored);  // from now on the folder is unfinished
  std::vector<RowOfTiles> rows;
  for (int level = 0; level < static_cast<int>(pyramid.size()); ++level)
    for (int row = 0; row < pyramid[level].rows; ++row) rows.push_back({level, row});
  std::vector<std::vector<Cut>> written(rows.size());
  Cuts cuts(pyramid.size());
  context.progress.start("tiles", rows.size());
  context.scheduler.for_each_frame(
      rows.size(), kPeakBytes,
      [&](std::size_t i) { written[i] = write_row(mosaic_file, folder, rows[i], pyramid, before.cuts); },
      [&](std::size_t i, const std::optional<Fault>&) {
        std::vector<Cut>& level = cuts[rows[i].level];
        written[i].resize(pyramid[rows[i].level].columns);  // of a row that could not be cut: none
        level.insert(level.end(), written[i].begin(), written[i].end());
        context.progress.step(i + 1);
      });
  context.progress.finish();
  note_which_are_there(cuts, pyramid);
  write_file(folder / kIndex, index_of(pyramid, cuts, made_from).dump());
  return pyramid;
}

}  // namespace lookdown::report
