#include "pipeline/imaging/raster_window.h"

#include <gdal_priv.h>

namespace lookdown {

cv::Mat rgba_window(GDALDataset& picture, const cv::Rect& area, cv::Size size) {
  constexpr int kBands = 4;
  if (picture.GetRasterCount() < kBands) return {};
  const bool sixteen = picture.GetRasterBand(1)->GetRasterDataType() == GDT_UInt16;
  cv::Mat window(size, sixteen ? CV_16UC4 : CV_8UC4);
  const auto sample_bytes = static_cast<GSpacing>(window.elemSize1());
  GDALRasterIOExtraArg how;
  INIT_RASTERIO_EXTRA_ARG(how);
  how.eResampleAlg = GRIORA_Average;
  if (picture.RasterIO(GF_Read, area.x, area.y, area.width, area.height, window.data, size.width, size.height,
                       sixteen ? GDT_UInt16 : GDT_Byte, kBands, nullptr, kBands * sample_bytes,
                       static_cast<GSpacing>(window.step[0]), sample_bytes, &how) != CE_None)
    return {};
  if (sixteen) window.convertTo(window, CV_8U, 1 / 257.0);  // 65535 -> 255
  return window;
}

}  // namespace lookdown
