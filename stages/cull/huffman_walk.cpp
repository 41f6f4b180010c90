#include "stages/cull/huffman_walk.h"

#include <algorithm>

namespace lookdown::cull {

bool HuffmanTable::build(const std::array<std::uint8_t, 16>& counts, const std::uint8_t* symbols, int symbol_count) {
  ready_ = false;
  std::copy(symbols, symbols + symbol_count, symbols_.begin());
  quick_.fill({});
  int code = 0, at = 0;
  for (int length = 1; length <= 16; ++length) {
    const int count = counts[length - 1];
    offset_[length] = at - code;
    last_code_[length] = count > 0 ? code + count - 1 : -1;
    if (code + count > (1 << length)) return false;
    for (int i = 0; i < count; ++i, ++code, ++at) {
      if (length > kQuickBits) continue;
      const int first = code << (kQuickBits - length);
      std::fill_n(quick_.begin() + first, 1 << (kQuickBits - length),
                  Quick{static_cast<std::uint8_t>(length), symbols_[at]});
    }
    code <<= 1;
  }
  ready_ = at == symbol_count;
  build_strides();
  return ready_;
}

int HuffmanTable::long_symbol(std::uint32_t sixteen_bits) const {
  for (int length = kQuickBits + 1; length <= 16; ++length) {
    const int code = static_cast<int>(sixteen_bits >> (16 - length));
    if (last_code_[length] >= 0 && code <= last_code_[length])
      return length << 8 | symbols_[std::clamp(offset_[length] + code, 0, 255)];
  }
  return -1;
}

void HuffmanTable::build_strides() {
  for (int pattern = 0; pattern < (1 << kStrideBits); ++pattern) {
    Stride stride;
    int used = 0, advance = 0;
    while (used < kStrideBits) {
      const int rest = (pattern << used) & ((1 << kStrideBits) - 1);
      const Quick quick = quick_[rest >> (kStrideBits - kQuickBits)];
      const int run = quick.symbol >> 4, size = quick.symbol & 15;
      if (quick.length == 0 || used + quick.length + size > kStrideBits) break;
      used += quick.length + size;
      if (size == 0 && run != 15) {
        stride.end_of_block = 1;
        break;
      }
      advance += run + 1;
    }
    stride.bits = static_cast<std::uint8_t>(used);
    stride.advance = static_cast<std::uint8_t>(advance);
    strides_[pattern] = stride;
  }
}

}  // namespace lookdown::cull
