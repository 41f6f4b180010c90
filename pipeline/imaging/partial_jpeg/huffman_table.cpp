#include "pipeline/imaging/partial_jpeg/huffman_table.h"

#include <algorithm>

namespace lookdown {

bool HuffmanTable::build(const std::array<std::uint8_t, 16>& counts, const std::uint8_t* symbols,
                         int symbol_count) {
  std::copy(symbols, symbols + symbol_count, symbols_.begin());
  quick_.fill({});
  int code = 0, at = 0;
  for (int length = 1; length <= kLongest; ++length) {
    const int count = counts[length - 1];
    offset_[length] = at - code;
    last_code_[length] = count > 0 ? code + count - 1 : -1;
    if (code + count > (1 << length)) return false;
    for (int i = 0; i < count; ++i, ++code, ++at) {
      if (length > kQuickBits) continue;
      const int first = code << (kQuickBits - length);
      std::fill_n(quick_.begin() + first, 1 << (kQuickBits - length),
                  Code{static_cast<std::uint8_t>(length), symbols_[at]});
    }
    code <<= 1;
  }
  return at == symbol_count;
}

HuffmanTable::Code HuffmanTable::long_code(std::uint32_t sixteen_bits) const {
  for (int length = kQuickBits + 1; length <= kLongest; ++length) {
    const int code = static_cast<int>(sixteen_bits >> (kLongest - length));
    if (last_code_[length] >= 0 && code <= last_code_[length])
      return {static_cast<std::uint8_t>(length), symbols_[std::clamp(offset_[length] + code, 0, 255)]};
  }
  return {};
}

}  // namespace lookdown
