// The grid of the mosaic: size, scale and position, and the check that it can be made at all.
#pragma once

#include <Eigen/Core>
#include <array>
#include <filesystem>
#include <optional>
#include <stdexcept>
#include <string>

#include "pipeline/record/flight_record.h"

namespace lookdown::mosaic {

/// Pixel grid of the output. `canvas_from_placed` scales pixels of the placement's grid (centres at integers)
/// to this one.
struct Canvas {
  int width_px = 0;
  int height_px = 0;
  double canvas_per_placed = 1;  ///< pixels of this grid per pixel of the placement's grid
  std::optional<double> gsd_m;
  std::optional<std::string> crs;
  std::optional<std::array<double, 6>> geotransform;  ///< GDAL order, corner of the top-left pixel
  Eigen::Matrix3d canvas_from_placed = Eigen::Matrix3d::Identity();

  [[nodiscard]] double gigapixels() const { return 1e-9 * width_px * static_cast<double>(height_px); }
};

/// The mosaic cannot be made as asked (too large, no room on the disk); the message says what to change.
struct CanvasError : std::runtime_error {
  using std::runtime_error::runtime_error;
};

/// Grid at `gsd_m` (needs a known scale; ignored without one) or as placed. Throws CanvasError when there is
/// no grid.
[[nodiscard]] Canvas plan_canvas(const FlightPlacement&, std::optional<double> gsd_m);

/// Bytes that the output and the working file may take at most: four samples of `bits` a pixel uncompressed
/// for the working file, the final file with overviews (4/3) and its temporary overviews, sources and glare
/// beside them.
[[nodiscard]] std::int64_t disk_need_bytes(const Canvas&, int bits = 8);

/// Throws CanvasError when the canvas is larger than `max_gigapixels` or the disk below `out` has not room
/// for it.
void check_size_and_disk(const Canvas&, double max_gigapixels, const std::filesystem::path& out,
                         int bits = 8);

}  // namespace lookdown::mosaic
