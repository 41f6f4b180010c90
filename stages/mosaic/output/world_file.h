// World files: six lines that place a picture for programs that do not read GeoTIFF.
#pragma once

#include <array>
#include <string>

namespace lookdown::mosaic {

/// Text of a world file for a picture of the canvas reduced by `reduction` (canvas pixels per picture pixel
/// in x and y). `geotransform` in GDAL order refers to the corner of the top-left pixel; a world file gives
/// the pixel's centre, half a pixel further on.
[[nodiscard]] std::string world_file(const std::array<double, 6>& geotransform, double reduction_x = 1,
                                     double reduction_y = 1);

}  // namespace lookdown::mosaic
