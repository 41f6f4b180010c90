#include "stages/mosaic/output/ground_overlay.h"

#include <cpl_error.h>
#include <cpl_string.h>
#include <fmt/format.h>
#include <gdal_priv.h>
#include <gdal_utils.h>

#include <memory>

#include "pipeline/base/files/atomic_file.h"

namespace lookdown::mosaic {
namespace {

struct Closes {
  void operator()(GDALDataset* file) const { GDALClose(file); }
};
using OpenRaster = std::unique_ptr<GDALDataset, Closes>;

/// What globe viewers take of a mosaic of sixteen bits: a view of it without pixels of its own.
OpenRaster in_eight_bits(GDALDataset& mosaic) {
  CPLStringList words;
  for (const char* word : {"-of", "VRT", "-ot", "Byte", "-scale", "0", "65535", "0", "255"})
    words.AddString(word);
  GDALTranslateOptions* options = GDALTranslateOptionsNew(words.List(), nullptr);
  GDALDatasetH view = GDALTranslate("", GDALDataset::ToHandle(&mosaic), options, nullptr);
  GDALTranslateOptionsFree(options);
  return OpenRaster(GDALDataset::FromHandle(view));
}

}  // namespace

void write_ground_overlay(const std::filesystem::path& geotiff, const std::filesystem::path& kmz,
                          const std::string& title, const std::string& told) {
  GDALAllRegister();
  GDALDriver* driver = GetGDALDriverManager()->GetDriverByName("KMLSUPEROVERLAY");
  if (driver == nullptr) throw WriteError("GDAL was built without its KMLSUPEROVERLAY driver");
  const OpenRaster mosaic(GDALDataset::Open(geotiff.c_str(), GDAL_OF_RASTER));
  const bool sixteen = mosaic && mosaic->GetRasterBand(1)->GetRasterDataType() == GDT_UInt16;
  const OpenRaster view = sixteen ? in_eight_bits(*mosaic) : nullptr;
  if (!mosaic || (sixteen && !view))
    throw WriteError(
        fmt::format("{}: could not be opened again: {}", geotiff.string(), CPLGetLastErrorMsg()));
  write_file(kmz, [&](const std::filesystem::path& temporary) {
    CPLStringList options;
    options.SetNameValue("FORMAT", "AUTO");
    options.SetNameValue("NAME", title.c_str());
    options.SetNameValue("DESCRIPTION", told.c_str());
    const OpenRaster made(driver->CreateCopy(temporary.c_str(), view ? view.get() : mosaic.get(), false,
                                             options.List(), nullptr, nullptr));
    return made != nullptr;
  });
}

}  // namespace lookdown::mosaic
