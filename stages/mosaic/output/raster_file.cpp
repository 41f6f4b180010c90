#include "stages/mosaic/output/raster_file.h"

#include <cpl_error.h>
#include <cpl_string.h>
#include <fmt/format.h>
#include <gdal_priv.h>
#include <ogr_spatialref.h>
#include <unistd.h>

#include <algorithm>
#include <mutex>

#include "pipeline/base/files/atomic_file.h"
#include "pipeline/imaging/raster_window.h"

namespace lookdown::mosaic {
namespace {

constexpr int kBlockSide = 512;

void register_formats() {
  static std::once_flag once;
  std::call_once(once, [] { GDALAllRegister(); });
}

[[noreturn]] void fail(const std::filesystem::path& path) {
  throw WriteError(fmt::format("{}: could not be written: {}; check that the disk has room", path.string(),
                               CPLGetLastErrorMsg()));
}

class CreationOptions {
 public:
  void set(const char* name, const std::string& value) { list_.SetNameValue(name, value.c_str()); }
  [[nodiscard]] char** list() { return list_.List(); }

 private:
  CPLStringList list_;
};

GDALDriver* driver(const char* name) {
  GDALDriver* found = GetGDALDriverManager()->GetDriverByName(name);
  if (found == nullptr) throw WriteError(fmt::format("GDAL was built without its {} driver", name));
  return found;
}

GDALDataType gdal_type(int depth) {
  return depth == CV_16U ? GDT_UInt16 : GDT_Byte;
}

bool offers(GDALDriver* of, const char* compression) {
  const char* options = of->GetMetadataItem(GDAL_DMD_CREATIONOPTIONLIST);
  return options != nullptr &&
         std::string(options).find(fmt::format("<Value>{}</Value>", compression)) != std::string::npos;
}

void set_position(GDALDataset& file, const Canvas& canvas) {
  if (canvas.geotransform) {
    std::array<double, 6> transform = *canvas.geotransform;
    file.SetGeoTransform(transform.data());
  }
  if (canvas.crs) {
    OGRSpatialReference system;
    system.SetAxisMappingStrategy(OAMS_TRADITIONAL_GIS_ORDER);
    if (system.SetFromUserInput(canvas.crs->c_str()) == OGRERR_NONE) file.SetSpatialRef(&system);
  }
}

void set_bands(GDALDataset& file, const RasterKind& kind) {
  constexpr std::array kColours{GCI_RedBand, GCI_GreenBand, GCI_BlueBand};
  for (int band = 1; band <= kind.bands; ++band) {
    GDALRasterBand* target = file.GetRasterBand(band);
    if (kind.alpha)
      target->SetColorInterpretation(band == kind.bands ? GCI_AlphaBand : kColours[std::min(band - 1, 2)]);
    if (kind.no_value) target->SetNoDataValue(*kind.no_value);
    if (static_cast<std::size_t>(band) <= kind.band_names.size())
      target->SetDescription(kind.band_names[band - 1].c_str());
  }
}

std::string upper(std::string word) {
  std::transform(word.begin(), word.end(), word.begin(),
                 [](unsigned char letter) { return static_cast<char>(std::toupper(letter)); });
  return word;
}

}  // namespace

RasterFile::RasterFile(std::filesystem::path final_path, const Canvas& canvas, RasterKind kind)
    : final_path_(std::move(final_path)), canvas_(canvas), kind_(std::move(kind)) {
  register_formats();
  working_path_ = final_path_;
  working_path_.replace_filename(
      fmt::format("{}.unfinished-{}-work.tif", final_path_.stem().string(), ::getpid()));
  GDALDriver* tiff = driver("GTiff");
  CreationOptions options;
  options.set("TILED", "YES");
  options.set("BLOCKXSIZE", std::to_string(kBlockSide));
  options.set("BLOCKYSIZE", std::to_string(kBlockSide));
  options.set("BIGTIFF", "YES");
  options.set("SPARSE_OK", "TRUE");
  options.set("INTERLEAVE", "PIXEL");
  if (kind_.alpha) options.set("ALPHA", "UNSPECIFIED");
  if (kind_.bands >= 3) options.set("PHOTOMETRIC", "RGB");
  working_ = tiff->Create(working_path_.c_str(), canvas_.width_px, canvas_.height_px, kind_.bands,
                          gdal_type(kind_.depth), options.list());
  if (working_ == nullptr) fail(final_path_);
  set_position(*working_, canvas_);
  set_bands(*working_, kind_);
  for (const auto& [tag, text] : kind_.tags) working_->SetMetadataItem(tag.c_str(), text.c_str());
}

RasterFile::~RasterFile() {
  if (working_ != nullptr) GDALClose(working_);
  std::error_code ignored;
  std::filesystem::remove(working_path_, ignored);
}

void RasterFile::write(const cv::Rect& area, const cv::Mat& pixels) {
  const int bytes = pixels.elemSize1() == 2 ? 2 : 1;
  const CPLErr result =
      working_->RasterIO(GF_Write, area.x, area.y, area.width, area.height, const_cast<uchar*>(pixels.data),
                         area.width, area.height, gdal_type(kind_.depth), kind_.bands, nullptr,
                         bytes * kind_.bands, static_cast<GSpacing>(pixels.step[0]), bytes, nullptr);
  if (result != CE_None) fail(final_path_);
}

cv::Mat RasterFile::reduced(const cv::Rect& area, cv::Size size) const {
  cv::Mat picture = rgba_window(*working_, area, size);
  if (picture.empty()) fail(final_path_);
  return picture;
}

void RasterFile::finish(const std::string& compression, int threads) {
  working_->FlushCache(false);
  GDALDriver* cog = driver("COG");
  const std::string method = upper(compression);
  if (!offers(cog, method.c_str()))
    throw WriteError(fmt::format("{}: GDAL was built without {} compression; choose deflate",
                                 final_path_.string(), method));
  write_file(final_path_, [&](const std::filesystem::path& temporary) {
    CreationOptions options;
    options.set("COMPRESS", method);
    if (method == "DEFLATE" || method == "ZSTD" || method == "LZW") options.set("PREDICTOR", "YES");
    // Higher levels take three times as long for two per cent of the size.
    if (method == "DEFLATE") options.set("LEVEL", "1");
    options.set("BLOCKSIZE", std::to_string(kBlockSide));
    options.set("BIGTIFF", "IF_SAFER");
    options.set("NUM_THREADS", std::to_string(threads));
    options.set("RESAMPLING", kind_.averaged_overviews ? "AVERAGE" : "NEAREST");
    options.set("OVERVIEW_RESAMPLING", kind_.averaged_overviews ? "AVERAGE" : "NEAREST");
    // Written and read once, as the working file is: compressing it would take longer than it saves.
    const CPLConfigOptionSetter plain_overviews("COG_TMP_COMPRESSION", "NONE", false);
    GDALDataset* made = cog->CreateCopy(temporary.c_str(), working_, false, options.list(), nullptr, nullptr);
    if (made == nullptr) return false;
    GDALClose(made);
    return true;
  });
  GDALClose(working_);
  working_ = nullptr;
  std::error_code ignored;
  std::filesystem::remove(working_path_, ignored);
  working_ = GDALDataset::Open(final_path_.c_str(), GDAL_OF_RASTER);
  if (working_ == nullptr) fail(final_path_);
}

BlockCacheLimit::BlockCacheLimit(std::int64_t bytes) : before_(GDALGetCacheMax64()) {
  GDALSetCacheMax64(bytes);
}
BlockCacheLimit::~BlockCacheLimit() {
  GDALSetCacheMax64(before_);
}

}  // namespace lookdown::mosaic
