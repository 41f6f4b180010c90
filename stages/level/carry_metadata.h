// Exif, IPTC and XMP from one picture file to another.
#pragma once

#include <cstdint>
#include <filesystem>
#include <string>
#include <vector>

namespace lookdown::level {

/// Bytes of `picture` (JPEG, PNG or TIFF as encoded) with the metadata of the file `original`: orientation
/// set to upright, pixel dimensions to the new size, the thumbnail dropped because it shows the picture
/// before, the colour space to sRGB, which copies are in. Returns `picture` unchanged when the original has metadata that cannot be read.
[[nodiscard]] std::vector<std::uint8_t> with_metadata_of(const std::filesystem::path& original,
                                                         std::vector<std::uint8_t> picture, int width_px,
                                                         int height_px);

}  // namespace lookdown::level
