#include "stages/mosaic/output/earlier_tiles.h"

#include <gdal_priv.h>

#include <nlohmann/json.hpp>
#include <opencv2/imgproc.hpp>

#include "pipeline/base/files/file_digest.h"
#include "stages/mosaic/mosaic.h"
#include "stages/mosaic/output/mosaic_rasters.h"

namespace lookdown::mosaic {
namespace {

using nlohmann::json;

std::string cache_key() {
  return Cache::key(std::string("tiles ") + kMosaicVersion, "", "");
}

json files_in(const std::filesystem::path& out) {
  json files = json::object();
  for (const char* file : {kColoursFile, kSourcesFile, kGlareFile})
    if (std::filesystem::exists(out / file)) files[file] = digest_of_file(out / file);
  return files;
}

GDALDataset* opened(const std::filesystem::path& file) {
  GDALAllRegister();
  return GDALDataset::Open(file.c_str(), GDAL_OF_RASTER | GDAL_OF_READONLY);
}

/// All bands of a window, interleaved; empty when it cannot be read.
cv::Mat window(GDALDataset& file, const cv::Rect& area) {
  const int bands = file.GetRasterCount();
  const GDALDataType type = file.GetRasterBand(1)->GetRasterDataType();
  const int depth = type == GDT_UInt16 ? CV_16U : CV_8U;
  if (type != GDT_UInt16 && type != GDT_Byte) return {};
  cv::Mat pixels(area.size(), CV_MAKETYPE(depth, bands));
  const auto bytes = static_cast<GSpacing>(pixels.elemSize1());
  const CPLErr result = file.RasterIO(GF_Read, area.x, area.y, area.width, area.height, pixels.data,
                                      area.width, area.height, type, bands, nullptr, bytes * bands,
                                      static_cast<GSpacing>(pixels.step[0]), bytes, nullptr);
  return result == CE_None ? pixels : cv::Mat();
}

}  // namespace

void EarlierTiles::Closed::operator()(GDALDataset* file) const {
  GDALClose(file);
}

EarlierTiles::EarlierTiles(const std::filesystem::path& out, const Cache& cache) {
  const auto packed = cache.find(cache_key());
  if (!packed) return;
  const json kept = json::from_cbor(*packed, true, false);
  if (!kept.is_object() || !kept.contains("tiles") || kept.value("files", json()) != files_in(out)) return;
  colours_.reset(opened(out / kColoursFile));
  sources_.reset(opened(out / kSourcesFile));
  if (std::filesystem::exists(out / kGlareFile)) glare_.reset(opened(out / kGlareFile));
  if (!colours_ || !sources_) return;
  for (const auto& [digest, area] : kept["tiles"].items())
    tiles_[digest] = {area.at(0).get<int>(), area.at(1).get<int>(), area.at(2).get<int>(),
                      area.at(3).get<int>()};
}

EarlierTiles::~EarlierTiles() = default;

std::optional<Tile> EarlierTiles::find(const std::string& digest) const {
  const auto found = tiles_.find(digest);
  if (found == tiles_.end()) return std::nullopt;
  Tile tile;
  tile.area = found->second;
  const std::lock_guard lock(reading_);
  const cv::Mat rgba = window(*colours_, tile.area);
  tile.sources = window(*sources_, tile.area);
  if (glare_) tile.glare = window(*glare_, tile.area);
  if (rgba.channels() != 4 || tile.sources.type() != CV_16UC1 || (glare_ && tile.glare.empty()))
    return std::nullopt;
  cv::cvtColor(rgba, tile.bgra, cv::COLOR_RGBA2BGRA);
  if (!tile.glare.empty() && cv::countNonZero(tile.glare) == 0) tile.glare.release();
  return tile;
}

void remember_tiles(const std::filesystem::path& out, const TileDigests& tiles, const Cache& cache) {
  json kept{{"files", files_in(out)}, {"tiles", json::object()}};
  for (const auto& [digest, area] : tiles) kept["tiles"][digest] = {area.x, area.y, area.width, area.height};
  const std::vector<std::uint8_t> packed = json::to_cbor(kept);
  cache.keep(cache_key(), {reinterpret_cast<const char*>(packed.data()), packed.size()});
}

}  // namespace lookdown::mosaic
