// The mosaic for globe viewers: a KMZ file of ground overlays, a pyramid of tiles where the mosaic is large.
#pragma once

#include <filesystem>
#include <string>

namespace lookdown::mosaic {

/// Writes `kmz` from a GeoTIFF with a coordinate reference system, turned to latitude and longitude (WGS 84),
/// so that no box needs a rotation. Opaque tiles are JPEG, others PNG. Throws WriteError.
/// `title` and `told` are its name and its description there.
void write_ground_overlay(const std::filesystem::path& geotiff, const std::filesystem::path& kmz,
                          const std::string& title, const std::string& told);

}  // namespace lookdown::mosaic
