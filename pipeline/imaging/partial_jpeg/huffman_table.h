// One Huffman table of a JPEG file (T.81, annex C and F.2.2.3).
#pragma once

#include <array>
#include <cstdint>

namespace lookdown {

class HuffmanTable {
 public:
  static constexpr int kLongest = 16;  ///< bits of a code

  struct Code {
    std::uint8_t length = 0;  ///< bits; 0: no code begins like this
    std::uint8_t symbol = 0;
  };

  /// `counts[i]` codes of length i + 1; `symbols` of all codes in order. False when the lengths do not make a
  /// prefix code.
  bool build(const std::array<std::uint8_t, 16>& counts, const std::uint8_t* symbols, int symbol_count);

  /// The code at the head of the next 16 bits.
  [[nodiscard]] [[gnu::always_inline]] Code first_of(std::uint32_t sixteen_bits) const {
    const Code quick = quick_[sixteen_bits >> (kLongest - kQuickBits)];
    return quick.length > 0 ? quick : long_code(sixteen_bits);
  }

 private:
  static constexpr int kQuickBits = 10;
  /// Codes longer than kQuickBits.
  [[nodiscard]] Code long_code(std::uint32_t sixteen_bits) const;

  std::array<Code, 1 << kQuickBits> quick_{};
  std::array<int, kLongest + 1> last_code_{};  ///< largest code of each length, -1 for none
  std::array<int, kLongest + 1> offset_{};     ///< index of the first symbol of each length minus its code
  std::array<std::uint8_t, 256> symbols_{};
};

/// Value of `size` extra bits (T.81, F.2.2.1, EXTEND); without a branch, for their sign cannot be foreseen.
[[nodiscard]] constexpr int extended(std::uint32_t bits, int size) {
  if (size == 0) return 0;
  const int value = static_cast<int>(bits),
            negative = (value >> (size - 1)) - 1;  // all ones for a negative value
  return value + (negative & (1 - (1 << size)));
}

}  // namespace lookdown
