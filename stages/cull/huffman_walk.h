// Bits of a JPEG entropy-coded segment and its Huffman tables, made for stepping over what is not needed.
#pragma once

#include <array>
#include <bit>
#include <cstdint>
#include <cstring>

namespace lookdown::cull {

/// Reads bits, most significant first; takes out the zero byte after each 0xFF (T.81, B.1.1.5). After the end or at a marker it
/// yields zeros and counts them.
class BitReader {
 public:
  BitReader(const std::uint8_t* first, const std::uint8_t* end) : next_(first), end_(end) {}

  /// Makes at least 48 bits available.
  [[gnu::always_inline]] void fill() {
    if (count_ >= 48) return;
    if (end_ - next_ >= 8) {
      std::uint64_t word;
      std::memcpy(&word, next_, 8);
      // A byte is 0xFF where its complement is zero.
      const std::uint64_t zeros = ~word;
      if (((zeros - 0x0101010101010101ULL) & ~zeros & 0x8080808080808080ULL) == 0) {
        const int bytes = (64 - count_) / 8;
        word = __builtin_bswap64(word);
        bits_ |= bytes == 8 ? word : (word >> (64 - 8 * bytes)) << (64 - 8 * bytes - count_);
        next_ += bytes;
        count_ += 8 * bytes;
        return;
      }
    }
    fill_slowly();
  }
  [[nodiscard]] std::uint32_t peek(int n) const { return static_cast<std::uint32_t>(bits_ >> (64 - n)); }
  void skip(int n) {
    bits_ <<= n;
    count_ -= n;
  }
  /// Value of n bits, 0 for n = 0.
  std::uint32_t take(int n) {
    if (n == 0) return 0;
    const std::uint32_t value = peek(n);
    skip(n);
    return value;
  }
  /// Bits handed out that the file does not hold.
  [[nodiscard]] bool overdrawn() const { return missing_ > 0 && count_ < missing_; }
  /// Drops the rest of the byte and steps over the restart marker RSTn; false when there is none.
  bool restart() {
    bits_ = 0;
    count_ = 0;
    missing_ = 0;
    while (next_ + 1 < end_ && next_[0] == 0xFF && next_[1] == 0xFF) ++next_;
    if (next_ + 1 >= end_ || next_[0] != 0xFF || next_[1] < 0xD0 || next_[1] > 0xD7) return false;
    next_ += 2;
    return true;
  }

 private:
  // A call with the reader's address would force it out of registers; inlined, it stays there.
  [[gnu::always_inline]] void fill_slowly() {
    while (count_ <= 56) {
      std::uint64_t byte = 0;
      if (next_ < end_ && *next_ != 0xFF) {
        byte = *next_++;
      } else if (next_ + 1 < end_ && next_[1] == 0) {
        byte = 0xFF;
        next_ += 2;
      } else {
        missing_ += 8;
      }
      bits_ |= byte << (56 - count_);
      count_ += 8;
    }
  }

  const std::uint8_t* next_;
  const std::uint8_t* end_;
  std::uint64_t bits_ = 0;
  int count_ = 0;
  int missing_ = 0;
};

/// One Huffman table (T.81, annex C and F.2.2.3), for decoding symbol by symbol or for stepping over several at once.
class HuffmanTable {
 public:
  static constexpr int kQuickBits = 10;
  static constexpr int kStrideBits = 13;

  struct Stride {
    std::uint8_t bits = 0;      ///< code and value bits of all symbols in the stride; 0: no whole symbol fits
    std::uint8_t advance = 0;   ///< coefficients stepped over
    std::uint8_t end_of_block = 0;
  };

  /// `counts[i]` codes of length i + 1; `symbols` of all codes in order. False when the lengths do not make a prefix code.
  bool build(const std::array<std::uint8_t, 16>& counts, const std::uint8_t* symbols, int symbol_count);
  [[nodiscard]] bool ready() const { return ready_; }

  /// Next symbol, or -1 when the bits are no code. Needs at least 16 bits filled.
  [[gnu::always_inline]] int symbol(BitReader& bits) const {
    const Quick quick = quick_[bits.peek(kQuickBits)];
    if (quick.length > 0) {
      bits.skip(quick.length);
      return quick.symbol;
    }
    const int length_and_symbol = long_symbol(bits.peek(16));
    if (length_and_symbol < 0) return -1;
    bits.skip(length_and_symbol >> 8);
    return length_and_symbol & 0xFF;
  }
  [[nodiscard]] const Stride& stride(std::uint32_t next_bits) const { return strides_[next_bits]; }

 private:
  struct Quick {
    std::uint8_t length = 0, symbol = 0;
  };
  /// Length times 256 plus symbol of a code longer than kQuickBits at the head of 16 bits, or -1.
  [[nodiscard]] int long_symbol(std::uint32_t sixteen_bits) const;
  void build_strides();

  bool ready_ = false;
  std::array<Quick, 1 << kQuickBits> quick_{};
  std::array<Stride, 1 << kStrideBits> strides_{};
  std::array<int, 17> last_code_{};    ///< largest code of each length, -1 for none
  std::array<int, 17> offset_{};       ///< index of the first symbol of each length minus its code
  std::array<std::uint8_t, 256> symbols_{};
};

}  // namespace lookdown::cull
