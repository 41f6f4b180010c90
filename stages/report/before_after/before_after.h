// The page on which a place on two days is compared: two mosaics on one grid, one over the other with a
// slider, in turns, and their difference.
#pragma once

#include <filesystem>
#include <string>
#include <utility>
#include <vector>

namespace lookdown::report {

struct BeforeAfter {
  std::filesystem::path before_file, after_file;  ///< rasters of the same size: red, green, blue, alpha
  std::string before_name, after_name;            ///< as a person calls the two
  std::vector<std::pair<std::string, std::string>> figures;  ///< name and text, told below the pictures
};

/// What can be told of two pictures on one grid.
struct Change {
  double compared_share = 0;  ///< of the first, where both show the ground
  double changed_share = 0;   ///< of what was compared, where lightness differs by more than kChange
};
/// Steps of 8 bits, after overall brightness and contrast have been brought to one: less is light and haze.
inline constexpr double kChange = 40;

/// Writes one self-contained page. Throws std::runtime_error when a raster cannot be read or their sizes
/// differ, WriteError.
Change write_before_after(const BeforeAfter&, const std::filesystem::path& file);

}  // namespace lookdown::report
