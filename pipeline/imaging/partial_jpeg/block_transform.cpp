#include "pipeline/imaging/partial_jpeg/block_transform.h"

#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <numbers>

#include "pipeline/imaging/partial_jpeg/jpeg_headers.h"

namespace lookdown {
namespace {

using Row = Eigen::Array<float, 8, 1>;
using Rows = std::array<Row, 8>;

/// kBasis[x][u] of the first four x; cos((2x + 1) u pi / 16) is even about the middle for even u and odd for
/// odd u.
constexpr int kHalf = 4;
const std::array<std::array<float, 8>, kHalf> kBasis = [] {
  std::array<std::array<float, 8>, kHalf> basis{};
  for (int x = 0; x < kHalf; ++x)
    for (int u = 0; u < 8; ++u)
      basis[x][u] = static_cast<float>((u == 0 ? std::sqrt(0.125) : 0.5) *
                                       std::cos((2 * x + 1) * u * std::numbers::pi / 16));
  return basis;
}();

/// Transforms the eight columns, each along its length, all at once; rows from `used` on are zero.
void transform_columns(const Rows& in, int used, Rows& out) {
  for (int x = 0; x < kHalf; ++x) {
    Row even = kBasis[x][0] * in[0], odd = kBasis[x][1] * in[1];
    for (int u = 2; u < used; u += 2) {
      even += kBasis[x][u] * in[u];
      odd += kBasis[x][u + 1] * in[u + 1];
    }
    out[x] = even + odd;
    out[7 - x] = even - odd;
  }
}

void transpose(const Rows& in, Rows& out) {
  Eigen::Map<Eigen::Matrix<float, 8, 8>>(out[0].data()) =
      Eigen::Map<const Eigen::Matrix<float, 8, 8>>(in[0].data()).transpose();
}

}  // namespace

bool read_block(const ScanBits& bits, std::uint64_t bit, const HuffmanTable& dc_table,
                const HuffmanTable& ac_table, const std::array<int, 64>& quantisation, int dc,
                BlockCoefficients& block) {
  block.values.fill(0);
  block.values[0] = static_cast<float>(dc * quantisation[0]);
  int rows = 0, columns = 0;
  // Enough bits for the longest code and its value stay in the window; it is filled again when they run low.
  constexpr int kFilled = 57, kNeeded = 2 * HuffmanTable::kLongest;
  std::uint64_t window = bits.at(bit);
  int left = kFilled;
  const auto take = [&](int count) {
    window <<= count;
    left -= count;
    bit += static_cast<unsigned>(count);
    if (left < kNeeded) window = bits.at(bit), left = kFilled;
  };
  const HuffmanTable::Code first = dc_table.first_of(static_cast<std::uint32_t>(window >> 48));
  if (first.length == 0) return false;
  take(first.length + first.symbol);
  for (int k = 1; k < 64; ++k) {
    const HuffmanTable::Code code = ac_table.first_of(static_cast<std::uint32_t>(window >> 48));
    if (code.length == 0) return false;
    const int run = code.symbol >> 4, size = code.symbol & 15;
    if (size == 0) {
      if (run != 15) break;
      take(code.length);
      k += 15;
      continue;
    }
    k += run;
    if (k > 63) return false;
    const int place = kZigZag[k];
    block.values[place] =
        static_cast<float>(extended(static_cast<std::uint32_t>(window << code.length >> (64 - size)), size) *
                           quantisation[place]);
    rows = std::max(rows, place >> 3);
    columns = std::max(columns, place & 7);
    take(code.length + size);
  }
  block.rows = rows + 1;
  block.columns = columns + 1;
  return true;
}

void inverse_transform(const BlockCoefficients& block, std::uint8_t* to, std::ptrdiff_t stride) {
  Rows a, b;
  for (int v = 0; v < 8; ++v) a[v] = Eigen::Map<const Row>(block.values.data() + 8 * v);
  transform_columns(a, block.rows, b);
  transpose(b, a);
  transform_columns(a, block.columns, b);
  transpose(b, a);
  for (int y = 0; y < 8; ++y)
    Eigen::Map<Eigen::Array<std::uint8_t, 8, 1>>(to + y * stride) =
        (a[y] + 128.5F).max(0.0F).min(255.0F).cast<int>().cast<std::uint8_t>();
}

}  // namespace lookdown
