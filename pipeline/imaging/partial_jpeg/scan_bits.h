// The entropy-coded bytes of a JPEG scan without stuffing and markers, and the code strides that step over
// them.
#pragma once

#include <array>
#include <bit>
#include <cstddef>
#include <cstdint>
#include <cstring>
#include <memory>
#include <optional>
#include <span>
#include <vector>

#include "pipeline/imaging/partial_jpeg/huffman_table.h"

namespace lookdown {

/// Bytes that belong to the codes alone: the zero after each 0xFF (T.81, B.1.1.5) and the restart markers are
/// taken out, so that a place in the stream is one number of bits.
class ScanBits {
 public:
  /// Bits that can be read beyond the end; all zero.
  static constexpr std::size_t kPadding = 8192;

  explicit ScanBits(std::span<const std::uint8_t> coded);

  /// 57 bits or more from that bit on, at the top of the word.
  [[nodiscard]] [[gnu::always_inline]] std::uint64_t at(std::uint64_t bit) const {
    std::uint64_t word;
    std::memcpy(&word, bytes_.get() + (bit >> 3), sizeof word);
    if constexpr (std::endian::native == std::endian::little) word = __builtin_bswap64(word);
    return word << (bit & 7);
  }
  [[nodiscard]] std::uint64_t size() const { return size_; }  ///< bits
  /// First bit of each restart interval; the first is 0.
  [[nodiscard]] const std::vector<std::uint64_t>& intervals() const { return intervals_; }

 private:
  std::unique_ptr<std::uint8_t[]> bytes_;
  std::uint64_t size_ = 0;
  std::vector<std::uint64_t> intervals_;
};

/// What the next kBits bits of a block hold, several codes at once.
struct CodeStrides {
  static constexpr int kBits = 13;
  static constexpr std::uint32_t kNoWholeCode = 127;  ///< advance where a single code needs more bits

  struct Stride {
    std::uint32_t word;
    [[nodiscard]] std::uint32_t bits() const {
      return word & 0xFF;
    }  ///< code and value bits of all codes in the stride
    [[nodiscard]] std::uint32_t advance() const {
      return word >> 8 & 0x7F;
    }  ///< AC coefficients stepped over
    [[nodiscard]] std::uint32_t ends_block() const { return word >> 15 & 1; }
    [[nodiscard]] std::uint32_t dc_difference() const {
      return word >> 16;
    }  ///< low 16 bits of it; of strides that begin a block
  };
  std::array<Stride, 1 << kBits> strides;

  /// Strides that begin with the DC code of a block when `dc` is given, with an AC code otherwise.
  CodeStrides(const HuffmanTable* dc, const HuffmanTable& ac);
};

}  // namespace lookdown
