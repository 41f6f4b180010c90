// The mosaic for globe viewers: a KMZ file of ground overlays, a pyramid of tiles where the mosaic is large.
#pragma once

#include <filesystem>

namespace lookdown::mosaic {

/// Writes `kmz` from a GeoTIFF with a coordinate reference system, turned to latitude and longitude (WGS 84),
/// so that no box needs a rotation. Opaque tiles are JPEG, others PNG. Throws WriteError.
void write_ground_overlay(const std::filesystem::path& geotiff, const std::filesystem::path& kmz);

}  // namespace lookdown::mosaic
