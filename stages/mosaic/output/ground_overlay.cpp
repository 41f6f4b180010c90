#include "stages/mosaic/output/ground_overlay.h"

#include <cpl_error.h>
#include <cpl_string.h>
#include <fmt/format.h>
#include <gdal_priv.h>

#include <memory>

#include "pipeline/base/atomic_file.h"

namespace lookdown::mosaic {
namespace {

struct Closes {
  void operator()(GDALDataset* file) const { GDALClose(file); }
};
using OpenRaster = std::unique_ptr<GDALDataset, Closes>;

}  // namespace

void write_ground_overlay(const std::filesystem::path& geotiff, const std::filesystem::path& kmz) {
  GDALAllRegister();
  GDALDriver* driver = GetGDALDriverManager()->GetDriverByName("KMLSUPEROVERLAY");
  if (driver == nullptr) throw WriteError("GDAL was built without its KMLSUPEROVERLAY driver");
  const OpenRaster mosaic(GDALDataset::Open(geotiff.c_str(), GDAL_OF_RASTER));
  if (!mosaic)
    throw WriteError(
        fmt::format("{}: could not be opened again: {}", geotiff.string(), CPLGetLastErrorMsg()));
  write_file(kmz, [&](const std::filesystem::path& temporary) {
    CPLStringList options;
    options.SetNameValue("FORMAT", "AUTO");
    options.SetNameValue("NAME", kmz.stem().c_str());
    const OpenRaster made(
        driver->CreateCopy(temporary.c_str(), mosaic.get(), false, options.List(), nullptr, nullptr));
    return made != nullptr;
  });
}

}  // namespace lookdown::mosaic
