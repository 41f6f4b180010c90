#include "stages/surface/surface_file.h"

#include <cpl_error.h>
#include <cpl_string.h>
#include <gdal_priv.h>
#include <ogr_spatialref.h>

#include <memory>
#include <mutex>
#include <stdexcept>

#include "pipeline/base/files/atomic_file.h"

namespace lookdown::surface {
namespace {

void register_formats() {
  static std::once_flag once;
  std::call_once(once, [] { GDALAllRegister(); });
}

void set_position(GDALDataset& file, double step_px, const FlightPlacement& placement) {
  if (placement.geotransform) {
    std::array<double, 6> transform = *placement.geotransform;
    for (const int term : {1, 2, 4, 5}) transform[std::size_t(term)] *= step_px;
    file.SetGeoTransform(transform.data());
  }
  if (placement.crs) {
    OGRSpatialReference system;
    system.SetAxisMappingStrategy(OAMS_TRADITIONAL_GIS_ORDER);
    if (system.SetFromUserInput(placement.crs->c_str()) == OGRERR_NONE) file.SetSpatialRef(&system);
  }
}

bool write_band(GDALRasterBand& band, const cv::Mat& values, GDALDataType type, const char* name) {
  band.SetDescription(name);
  for (int row = 0; row < values.rows; ++row)
    if (band.RasterIO(GF_Write, 0, row, values.cols, 1, const_cast<uchar*>(values.ptr(row)), values.cols, 1,
                      type, 0, 0) != CE_None)
      return false;
  return true;
}

}  // namespace

void write_surface(const std::filesystem::path& path, const cv::Mat& heights, const cv::Mat& agreeing,
                   double step_px, const FlightPlacement& placement) {
  register_formats();
  GDALDriver* driver = GetGDALDriverManager()->GetDriverByName("GTiff");
  if (driver == nullptr) throw WriteError("GDAL was built without its GTiff driver");
  CPLStringList options;
  for (const char* option :
       {"TILED=YES", "COMPRESS=DEFLATE", "PREDICTOR=3", "BIGTIFF=IF_SAFER", "INTERLEAVE=BAND"})
    options.AddString(option);
  write_file(path, [&](const std::filesystem::path& working) {
    // One type for both bands, as the format asks.
    const GDALDatasetUniquePtr file(
        driver->Create(working.c_str(), heights.cols, heights.rows, 2, GDT_Float32, options.List()));
    if (!file) return false;
    set_position(*file, step_px, placement);
    CPLErrorReset();
    const bool written = write_band(*file->GetRasterBand(1), heights, GDT_Float32,
                                    placement.gsd_m ? "height above the ground plane, m"
                                                    : "height above the ground plane, mosaic pixels") &&
                         write_band(*file->GetRasterBand(2), agreeing, GDT_Byte,
                                    "frames that agree on it; 0: filled from around");
    file->FlushCache();
    return written && CPLGetLastErrorType() < CE_Failure;
  });
}

void read_surface(const std::filesystem::path& path, cv::Mat& heights, cv::Mat& agreeing) {
  register_formats();
  const GDALDatasetUniquePtr file(
      GDALDataset::Open(path.c_str(), GDAL_OF_RASTER | GDAL_OF_READONLY | GDAL_OF_VERBOSE_ERROR));
  if (!file || file->GetRasterCount() != 2 || file->GetRasterXSize() < 2 || file->GetRasterYSize() < 2)
    throw std::runtime_error(path.string() + ": is no surface of ours; run again");
  heights.create(file->GetRasterYSize(), file->GetRasterXSize(), CV_32FC1);
  agreeing.create(heights.size(), CV_8UC1);
  if (file->GetRasterBand(1)->RasterIO(GF_Read, 0, 0, heights.cols, heights.rows, heights.data, heights.cols,
                                       heights.rows, GDT_Float32, 0, 0) != CE_None ||
      file->GetRasterBand(2)->RasterIO(GF_Read, 0, 0, heights.cols, heights.rows, agreeing.data, heights.cols,
                                       heights.rows, GDT_Byte, 0, 0) != CE_None)
    throw std::runtime_error(path.string() + ": is damaged; run again");
}

}  // namespace lookdown::surface
