// align: two mosaics of the same place, brought into one grid so that they can be compared.
#pragma once

#include <array>
#include <filesystem>
#include <string>

namespace lookdown::measure {

/// How a second mosaic was brought onto the first. Pixels are those of the first one.
struct Alignment {
  std::array<double, 6> first_from_second{
      1, 0, 0, 0, 1, 0};  ///< x' = a x + b y + c, y' = d x + e y + f between pixel centres
  std::string from;       ///< "coordinates" or "matched features", refined by patches where there are any
  int patches = 0;        ///< patches of 256 px that agree on the transform
  int patches_tried = 0;
  double rmse_px = 0;     ///< of the patches' shifts after alignment; 0 patches: not known
  double turned_deg = 0;  ///< counter-clockwise as seen
  double scaled_by = 1;
};

/// Finds the transform. Throws InputError when the folders hold no mosaic or nothing ties the two together.
[[nodiscard]] Alignment align(const std::filesystem::path& first_out,
                              const std::filesystem::path& second_out);

/// Writes the second mosaic on the first one's grid as a Cloud-Optimized GeoTIFF with alpha. Throws
/// WriteError.
void write_aligned(const std::filesystem::path& first_out, const std::filesystem::path& second_out,
                   const Alignment&, const std::filesystem::path& file, int threads);

[[nodiscard]] std::string text_of(const Alignment&);
[[nodiscard]] std::string json_of(const Alignment&);

}  // namespace lookdown::measure
