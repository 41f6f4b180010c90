#include "stages/cull/block_transform.h"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "stages/cull/jpeg_headers.h"

namespace lookdown::cull {
namespace {

using Row = std::array<float, 8>;
using Rows = std::array<Row, 8>;

/// basis[u][x] of the first four x; cos((2x + 1) u pi / 16) is even about the middle for even u and odd for odd u.
constexpr int kHalf = 4;
const std::array<std::array<float, kHalf>, 8>& basis() {
  static const auto table = [] {
    std::array<std::array<float, kHalf>, 8> b{};
    for (int u = 0; u < 8; ++u)
      for (int x = 0; x < kHalf; ++x) b[u][x] = static_cast<float>((u == 0 ? std::sqrt(0.125) : 0.5) * std::cos((2 * x + 1) * u * std::numbers::pi / 16));
    return b;
  }();
  return table;
}

/// Transforms the eight columns, each along its length, all at once.
void transform_columns(const Rows& in, Rows& out) {
  for (int x = 0; x < kHalf; ++x) {
    Row even{}, odd{};
    for (int u = 0; u < 8; u += 2)
      for (int k = 0; k < 8; ++k) {
        even[k] += basis()[u][x] * in[u][k];
        odd[k] += basis()[u + 1][x] * in[u + 1][k];
      }
    for (int k = 0; k < 8; ++k) {
      out[x][k] = even[k] + odd[k];
      out[7 - x][k] = even[k] - odd[k];
    }
  }
}

void transpose(const Rows& in, Rows& out) {
  for (int y = 0; y < 8; ++y)
    for (int x = 0; x < 8; ++x) out[x][y] = in[y][x];
}

}  // namespace

bool read_block(const ScanBits& bits, std::uint64_t bit, const HuffmanTable& dc_table, const HuffmanTable& ac_table, const std::array<int, 64>& quantisation,
                int dc, BlockCoefficients& block) {
  block.fill(0);
  block[0] = static_cast<float>(dc * quantisation[0]);
  const HuffmanTable::Code first = dc_table.first_of(static_cast<std::uint32_t>(bits.at(bit) >> 48));
  if (first.length == 0) return false;
  bit += first.length + first.symbol;
  for (int k = 1; k < 64; ++k) {
    const std::uint64_t window = bits.at(bit);
    const HuffmanTable::Code code = ac_table.first_of(static_cast<std::uint32_t>(window >> 48));
    if (code.length == 0) return false;
    const int run = code.symbol >> 4, size = code.symbol & 15;
    bit += code.length + size;
    if (size == 0) {
      if (run != 15) return true;
      k += 15;
      continue;
    }
    k += run;
    if (k > 63) return false;
    const int place = kZigZag[k];
    block[place] = static_cast<float>(extended(static_cast<std::uint32_t>(window << code.length >> (64 - size)), size) * quantisation[place]);
  }
  return true;
}

void inverse_transform(const BlockCoefficients& block, std::uint8_t* to, std::ptrdiff_t stride) {
  Rows a, b;
  for (int v = 0; v < 8; ++v) std::copy_n(block.begin() + v * 8, 8, a[v].begin());
  transform_columns(a, b);
  transpose(b, a);
  transform_columns(a, b);
  transpose(b, a);
  for (int y = 0; y < 8; ++y)
    for (int x = 0; x < 8; ++x) to[y * stride + x] = static_cast<std::uint8_t>(std::clamp(a[y][x] + 128.5F, 0.0F, 255.0F));
}

}  // namespace lookdown::cull
