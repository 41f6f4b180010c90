#include <algorithm>
#include <array>
#include <cctype>
#include <string>

#include "pipeline/imaging/frame_reader.h"

namespace lookdown {

namespace {

template <std::size_t N>
bool ends_like(const std::filesystem::path& path, const std::array<const char*, N>& endings) {
  std::string ending = path.extension().string();
  std::transform(ending.begin(), ending.end(), ending.begin(),
                 [](unsigned char c) { return static_cast<char>(std::tolower(c)); });
  return std::find(endings.begin(), endings.end(), ending) != endings.end();
}

}  // namespace

bool has_raw_ending(const std::filesystem::path& path) {
  constexpr std::array kEndings{".dng", ".nef", ".nrw", ".cr2", ".cr3", ".crw", ".arw", ".sr2",
                                ".srf", ".raf", ".orf", ".rw2", ".rwl", ".pef", ".srw", ".3fr",
                                ".iiq", ".erf", ".mrw", ".x3f", ".kdc", ".dcr", ".mos"};
  return ends_like(path, kEndings);
}

bool has_picture_ending(const std::filesystem::path& path) {
  constexpr std::array kEndings{".jpg",  ".jpeg", ".jpe",  ".png", ".tif",
                                ".tiff", ".heic", ".heif", ".hif", ".avif"};
  return ends_like(path, kEndings) || has_raw_ending(path);
}

}  // namespace lookdown
