#include "pipeline/imaging/raster_window.h"

#include <gdal_priv.h>

#include <opencv2/imgproc.hpp>
#include <optional>

namespace lookdown {
namespace {

constexpr int kBands = 4;

/// A picture or one of its overviews, and an area of it.
struct Place {
  GDALDataset* picture = nullptr;
  cv::Rect area;
};

/// Where `length` pixels from `first` of `whole` lie among `reduced` that stand for the whole; empty unless
/// both ends fall between two of them.
std::optional<cv::Range> among_reduced(int first, int length, int whole, int reduced) {
  const auto scaled = [&](int place) { return static_cast<std::int64_t>(place) * reduced; };
  if (scaled(first) % whole != 0 || scaled(first + length) % whole != 0) return std::nullopt;
  return cv::Range(static_cast<int>(scaled(first) / whole), static_cast<int>(scaled(first + length) / whole));
}

/// The area in the smallest overview that still has `size` pixels over it, or in the picture itself where
/// that is less than twice as large; empty when there is none.
std::optional<Place> little_larger(GDALDataset& picture, const cv::Rect& area, cv::Size size) {
  std::optional<Place> best;
  if (area.width < 2 * size.width && area.height < 2 * size.height) best = {&picture, area};
  GDALRasterBand& band = *picture.GetRasterBand(1);
  for (int level = 0; level < band.GetOverviewCount(); ++level) {
    GDALRasterBand& smaller = *band.GetOverview(level);
    GDALDataset* overview = smaller.GetDataset();
    const auto columns = among_reduced(area.x, area.width, band.GetXSize(), smaller.GetXSize()),
               rows = among_reduced(area.y, area.height, band.GetYSize(), smaller.GetYSize());
    if (overview == nullptr || overview->GetRasterCount() < kBands || !columns || !rows ||
        columns->size() < size.width || rows->size() < size.height)
      continue;
    if (!best || columns->size() < best->area.width)
      best = {overview, {columns->start, rows->start, columns->size(), rows->size()}};
  }
  return best;
}

/// Averaged to `size` by GDAL, which takes several times as long as OpenCV where it is not the same size.
cv::Mat read(const Place& from, cv::Size size) {
  const bool sixteen = from.picture->GetRasterBand(1)->GetRasterDataType() == GDT_UInt16;
  cv::Mat window(size, sixteen ? CV_16UC4 : CV_8UC4);
  const auto sample_bytes = static_cast<GSpacing>(window.elemSize1());
  GDALRasterIOExtraArg how;
  INIT_RASTERIO_EXTRA_ARG(how);
  how.eResampleAlg = GRIORA_Average;
  const cv::Rect& area = from.area;
  if (from.picture->RasterIO(GF_Read, area.x, area.y, area.width, area.height, window.data, size.width,
                             size.height, sixteen ? GDT_UInt16 : GDT_Byte, kBands, nullptr,
                             kBands * sample_bytes, static_cast<GSpacing>(window.step[0]), sample_bytes,
                             &how) != CE_None)
    return {};
  if (sixteen) window.convertTo(window, CV_8U, 1 / 257.0);  // 65535 -> 255
  return window;
}

}  // namespace

cv::Mat rgba_window(GDALDataset& picture, const cv::Rect& area, cv::Size size) {
  if (picture.GetRasterCount() < kBands) return {};
  const std::optional<Place> larger = little_larger(picture, area, size);
  if (!larger) return read({&picture, area}, size);
  cv::Mat window = read(*larger, larger->area.size());
  // Averages over fractions of pixels too.
  if (!window.empty() && window.size() != size) cv::resize(window, window, size, 0, 0, cv::INTER_AREA);
  return window;
}

}  // namespace lookdown
