#include <fmt/format.h>
#include <gdal_priv.h>
#include <ogr_spatialref.h>

#include <algorithm>
#include <cmath>
#include <memory>
#include <mutex>
#include <opencv2/core.hpp>
#include <opencv2/imgproc.hpp>

#include "pipeline/base/files/atomic_file.h"
#include "pipeline/imaging/metadata/derived_metadata.h"
#include "stages/rectify/ground_resolution.h"
#include "stages/rectify/rectify.h"

namespace lookdown::rectify {
namespace {

constexpr int kTile = 512;  // rows at once and tile size of the file

struct DatasetCloser {
  void operator()(GDALDataset* dataset) const { GDALClose(dataset); }
};
using Dataset = std::unique_ptr<GDALDataset, DatasetCloser>;

/// Rows [first, first + rows) of the view as BGRA, alpha 0 where the frame shows nothing good enough.
cv::Mat4b resample_rows(const cv::Mat& bgr, const GroundView& view, double lens_reach_px, int first,
                        int rows) {
  const auto frame_from_ground = view.ground_from_frame.inverse();
  const Camera& camera = view.camera;
  cv::Mat1f map_x(rows, view.width_px), map_y(rows, view.width_px);
  cv::Mat1b alpha(rows, view.width_px, uchar{0});
  for (int y = 0; y < rows; ++y)
    for (int x = 0; x < view.width_px; ++x) {
      map_x(y, x) = map_y(y, x) = -10.F;
      const Point2<Ground> ground{view.x_min + (x + 0.5) * view.gsd,
                                  view.y_max - (first + y + 0.5) * view.gsd};
      const auto straight = frame_from_ground * ground;
      if (!std::isfinite(straight.x) || !std::isfinite(straight.y) ||
          view.ground_from_frame.depth(straight) <= 0)
        continue;
      if (std::hypot(straight.x - camera.cx_px, straight.y - camera.cy_px) >= lens_reach_px) continue;
      if (footprint(view.ground_from_frame, straight).longest > view.coarsest_gsd) continue;
      const auto stored = camera.distort(straight);
      if (stored.x < 0 || stored.y < 0 || stored.x > camera.width_px - 1 || stored.y > camera.height_px - 1)
        continue;
      map_x(y, x) = static_cast<float>(stored.x);
      map_y(y, x) = static_cast<float>(stored.y);
      alpha(y, x) = 255;
    }
  cv::Mat colours;
  cv::remap(bgr, colours, map_x, map_y, cv::INTER_LANCZOS4, cv::BORDER_REFLECT_101);
  std::vector<cv::Mat> planes;
  cv::split(colours, planes);
  for (cv::Mat& plane : planes) plane.setTo(0, alpha == 0);
  planes.push_back(alpha);
  cv::Mat4b out;
  cv::merge(planes, out);
  return out;
}

Dataset create(const std::filesystem::path& path, const GroundView& view,
               const std::optional<std::string>& crs) {
  static std::once_flag registered;
  std::call_once(registered, [] { GDALAllRegister(); });
  GDALDriver* driver = GetGDALDriverManager()->GetDriverByName("GTiff");
  const char* options[] = {"TILED=YES",        "BLOCKXSIZE=512",   "BLOCKYSIZE=512",
                           "COMPRESS=DEFLATE", "PREDICTOR=2",      "PHOTOMETRIC=RGB",
                           "ALPHA=YES",        "BIGTIFF=IF_SAFER", nullptr};
  Dataset dataset(
      driver->Create(path.c_str(), view.width_px, view.height_px, 4, GDT_Byte, const_cast<char**>(options)));
  if (!dataset) return dataset;
  double transform[6] = {view.x_min, view.gsd, 0, view.y_max, 0, -view.gsd};
  dataset->SetGeoTransform(transform);
  if (crs) {
    OGRSpatialReference reference;
    if (reference.SetFromUserInput(crs->c_str()) == OGRERR_NONE) dataset->SetSpatialRef(&reference);
  }
  return dataset;
}

bool write_rows(GDALDataset& dataset, const cv::Mat4b& bgra, int first) {
  constexpr int band_of_channel[] = {3, 2, 1, 4};
  for (int channel = 0; channel < 4; ++channel) {
    GDALRasterBand* band = dataset.GetRasterBand(band_of_channel[channel]);
    cv::Mat1b plane;
    cv::extractChannel(bgra, plane, channel);
    if (band->RasterIO(GF_Write, 0, first, plane.cols, plane.rows, plane.data, plane.cols, plane.rows,
                       GDT_Byte, 1, static_cast<GSpacing>(plane.step)) != CE_None)
      return false;
  }
  return true;
}

/// Six lines: pixel sizes and rotation, then the centre of the top-left pixel (GDAL documentation, "World
/// file").
std::string world_file(const GroundView& view) {
  return fmt::format("{:.10g}\n0\n0\n{:.10g}\n{:.10g}\n{:.10g}\n", view.gsd, -view.gsd,
                     view.x_min + 0.5 * view.gsd, view.y_max - 0.5 * view.gsd);
}

}  // namespace

Result<std::filesystem::path> write_rectified(const FrameRecord& frame, const GroundView& view,
                                              const std::optional<std::string>& crs,
                                              const std::filesystem::path& tif, const Options& options,
                                              const FrameReader& reader) {
  const double megapixels = 1e-6 * view.width_px * view.height_px;
  if (!(megapixels <= options.max_megapixels))
    return Fault{"rectify", frame.source.file,
                 fmt::format("its ground picture would have {:.0f} megapixels", megapixels),
                 "choose a larger ground sample distance"};
  const auto bgr = reader.bgr(frame.source.path);
  if (!bgr) return bgr.error();
  const double lens_reach_px = view.camera.monotonic_radius_px();
  const Derivation derivation{
      "rectified: laid onto the ground plane", {frame.source.file}, attribution_of({frame.source.path})};
  write_file(tif, [&](const std::filesystem::path& temporary) {
    const Dataset dataset = create(temporary, view, crs);
    if (!dataset) return false;
    for (const auto& [tag, text] : tiff_tags(derivation)) dataset->SetMetadataItem(tag.c_str(), text.c_str());
    for (int first = 0; first < view.height_px; first += kTile) {
      const int rows = std::min(kTile, view.height_px - first);
      if (!write_rows(*dataset, resample_rows(*bgr, view, lens_reach_px, first, rows), first)) return false;
    }
    return dataset->FlushCache(), true;
  });
  std::filesystem::path world = tif;
  write_file(world.replace_extension(".tfw"), world_file(view));
  return tif;
}

}  // namespace lookdown::rectify
