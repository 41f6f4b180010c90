#include "pipeline/imaging/partial_jpeg/scan_bits.h"

#include <algorithm>

namespace lookdown {
namespace {

constexpr std::uint8_t kMarker = 0xFF;

/// One stride: codes from `pattern` (kBits bits) as long as they and their values fit.
CodeStrides::Stride stride_of(std::uint32_t pattern, const HuffmanTable* dc, const HuffmanTable& ac) {
  constexpr int kBits = CodeStrides::kBits;
  const auto rest = [&](int used) { return (pattern << used) & ((1U << kBits) - 1); };
  int used = 0, advance = 0, ends_block = 0;
  std::uint32_t difference = 0;
  if (dc) {
    const HuffmanTable::Code code = dc->first_of(rest(0) << (HuffmanTable::kLongest - kBits));
    const int size = code.symbol;
    if (code.length == 0 || size > 11 || code.length + size > kBits) return {CodeStrides::kNoWholeCode << 8};
    used = code.length + size;
    difference = static_cast<std::uint16_t>(extended(rest(code.length) >> (kBits - size), size));
  }
  while (used < kBits && ends_block == 0) {
    const HuffmanTable::Code code = ac.first_of(rest(used) << (HuffmanTable::kLongest - kBits));
    const int run = code.symbol >> 4, size = code.symbol & 15;
    if (code.length == 0 || used + code.length + size > kBits) break;
    used += code.length + size;
    if (size == 0 && run != 15)
      ends_block = 1;
    else
      advance += run + 1;
  }
  if (used == 0 || advance >= 63) return {CodeStrides::kNoWholeCode << 8};
  return {difference << 16 | static_cast<std::uint32_t>(ends_block << 15 | advance << 8 | used)};
}

}  // namespace

ScanBits::ScanBits(std::span<const std::uint8_t> coded)
    : bytes_(new std::uint8_t[coded.size() + kPadding / 8]), intervals_{0} {
  const std::uint8_t* from = coded.data();
  const std::uint8_t* const end = from + coded.size();
  std::uint8_t* to = bytes_.get();
  while (from < end) {
    const auto* found =
        static_cast<const std::uint8_t*>(std::memchr(from, kMarker, static_cast<std::size_t>(end - from)));
    const std::uint8_t* const plain_end = found ? found : end;
    std::memcpy(to, from, static_cast<std::size_t>(plain_end - from));
    to += plain_end - from;
    from = plain_end;
    if (end - from < 2) break;
    const std::uint8_t next = from[1];
    if (next == 0) {
      *to++ = kMarker;
      from += 2;
    } else if (next == kMarker) {
      ++from;  // fill bytes may come before a marker
    } else if (next >= 0xD0 && next <= 0xD7) {
      intervals_.push_back(8 * static_cast<std::uint64_t>(to - bytes_.get()));
      from += 2;
    } else {
      break;
    }
  }
  size_ = 8 * static_cast<std::uint64_t>(to - bytes_.get());
  std::memset(to, 0, kPadding / 8);
}

CodeStrides::CodeStrides(const HuffmanTable* dc, const HuffmanTable& ac) {
  for (std::uint32_t pattern = 0; pattern < strides.size(); ++pattern)
    strides[pattern] = stride_of(pattern, dc, ac);
}

}  // namespace lookdown
