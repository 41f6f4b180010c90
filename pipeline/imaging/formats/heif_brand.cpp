#include <algorithm>
#include <array>
#include <string_view>

#include "pipeline/imaging/formats/heif_decode.h"

namespace lookdown {

bool is_heif(std::span<const std::uint8_t> bytes) {
  if (bytes.size() < 16) return false;
  const std::string_view start(reinterpret_cast<const char*>(bytes.data()),
                               std::min<std::size_t>(bytes.size(), 64));
  if (start.substr(4, 4) != "ftyp") return false;
  constexpr std::array kBrands{"mif1", "msf1", "heic", "heix", "heim", "heis", "avif", "avis"};
  return std::any_of(kBrands.begin(), kBrands.end(),
                     [&](const char* brand) { return start.substr(8, 4) == brand; });
}

}  // namespace lookdown
