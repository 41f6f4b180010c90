#include "stages/cull/spectrum/tile_transform.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

#include "stages/cull/spectrum/log_periodogram.h"

namespace lookdown::cull {
namespace {

constexpr int kHalf = kSpectralTile / 2;
constexpr int kLanes =
    72;  // lines transformed side by side: kSpectralColumns of them, filled up to whole vectors
static_assert(kSpectralTile == 128 && kLanes >= kSpectralColumns);

/// Complex lines, one in each lane.
struct Lines {
  std::array<std::array<float, kLanes>, kSpectralTile> re, im;
};

struct Turn {
  float re, im;
};
/// exp(-2 pi i k / kSpectralTile).
const std::array<Turn, kSpectralTile>& turns() {
  static const std::array<Turn, kSpectralTile> table = [] {
    std::array<Turn, kSpectralTile> all{};
    for (int k = 0; k < kSpectralTile; ++k)
      all[k] = {static_cast<float>(std::cos(2 * std::numbers::pi * k / kSpectralTile)),
                static_cast<float>(-std::sin(2 * std::numbers::pi * k / kSpectralTile))};
    return all;
  }();
  return table;
}

/// One radix-4 pass: lines of length `length`, `stride` of them interleaved.
void pass_of_four(const Lines& from, Lines& to, int length, int stride) {
  const int quarter = length / 4;
  for (int p = 0; p < quarter; ++p) {
    const Turn w1 = turns()[p * stride], w2 = turns()[2 * p * stride], w3 = turns()[3 * p * stride];
    for (int q = 0; q < stride; ++q) {
      const int in = q + stride * p, step = stride * quarter, out = q + stride * 4 * p;
      const float *ar = from.re[in].data(), *ai = from.im[in].data(), *br = from.re[in + step].data(),
                  *bi = from.im[in + step].data();
      const float *cr = from.re[in + 2 * step].data(), *ci = from.im[in + 2 * step].data(),
                  *dr = from.re[in + 3 * step].data(), *di = from.im[in + 3 * step].data();
      float *__restrict r0 = to.re[out].data(), *__restrict i0 = to.im[out].data(), *__restrict r1 = to.re[out + stride].data(), *__restrict i1 = to.im[out + stride].data();
      float* __restrict r2 = to.re[out + 2 * stride].data(), * __restrict i2 = to.im[out + 2 * stride].data();
      float* __restrict r3 = to.re[out + 3 * stride].data(), * __restrict i3 = to.im[out + 3 * stride].data();
      for (int k = 0; k < kLanes; ++k) {
        const float sum_r = ar[k] + cr[k], sum_i = ai[k] + ci[k], odd_r = ar[k] - cr[k],
                    odd_i = ai[k] - ci[k];
        const float other_r = br[k] + dr[k], other_i = bi[k] + di[k], turned_r = di[k] - bi[k],
                    turned_i = br[k] - dr[k];  // i (b - d)
        r0[k] = sum_r + other_r, i0[k] = sum_i + other_i;
        const float x1 = odd_r - turned_r, y1 = odd_i - turned_i, x2 = sum_r - other_r, y2 = sum_i - other_i,
                    x3 = odd_r + turned_r, y3 = odd_i + turned_i;
        r1[k] = w1.re * x1 - w1.im * y1, i1[k] = w1.re * y1 + w1.im * x1;
        r2[k] = w2.re * x2 - w2.im * y2, i2[k] = w2.re * y2 + w2.im * x2;
        r3[k] = w3.re * x3 - w3.im * y3, i3[k] = w3.re * y3 + w3.im * x3;
      }
    }
  }
}

/// The last pass, of pairs `stride` apart.
void pass_of_two(const Lines& from, Lines& to, int stride) {
  for (int q = 0; q < stride; ++q)
    for (int k = 0; k < kLanes; ++k) {
      const float ar = from.re[q][k], ai = from.im[q][k], br = from.re[q + stride][k],
                  bi = from.im[q + stride][k];
      to.re[q][k] = ar + br, to.im[q][k] = ai + bi;
      to.re[q + stride][k] = ar - br, to.im[q + stride][k] = ai - bi;
    }
}

/// Transforms all lines; the answer is in `lines`.
void transform(Lines& lines, Lines& scratch) {
  pass_of_four(lines, scratch, kSpectralTile, 1);
  pass_of_four(scratch, lines, kSpectralTile / 4, 4);
  pass_of_four(lines, scratch, kSpectralTile / 16, 16);
  pass_of_two(scratch, lines, 64);
}

}  // namespace

cv::Mat tile_power(const cv::Mat& tile) {
  thread_local Lines lines, scratch;
  for (int y = 0; y < kSpectralTile; ++y) {
    const auto* row = tile.ptr<float>(y);
    std::copy(row, row + kHalf, lines.re[y].begin());
    std::copy(row + kHalf, row + kSpectralTile, lines.im[y].begin());
    // Lanes that hold nothing must not pile up what earlier tiles left there.
    std::fill(lines.re[y].begin() + kHalf, lines.re[y].end(), 0.0F);
    std::fill(lines.im[y].begin() + kHalf, lines.im[y].end(), 0.0F);
  }
  transform(lines, scratch);
  for (int x = 0; x < kSpectralTile; ++x) {
    std::fill(scratch.re[x].begin() + kSpectralColumns, scratch.re[x].end(), 0.0F);
    std::fill(scratch.im[x].begin() + kSpectralColumns, scratch.im[x].end(), 0.0F);
  }
  // Of the left half and of the right one; real columns have spectra that are symmetric, so that one
  // transform holds two. Then along the rows.
  for (int fy = 0; fy <= kHalf; ++fy) {
    const int mirrored = (kSpectralTile - fy) % kSpectralTile;
    for (int x = 0; x < kHalf; ++x) {
      const float ar = lines.re[fy][x], ai = lines.im[fy][x], br = lines.re[mirrored][x],
                  bi = lines.im[mirrored][x];
      scratch.re[x][fy] = 0.5F * (ar + br), scratch.im[x][fy] = 0.5F * (ai - bi);
      scratch.re[x + kHalf][fy] = 0.5F * (ai + bi), scratch.im[x + kHalf][fy] = 0.5F * (br - ar);
    }
  }
  transform(scratch, lines);
  cv::Mat power(kSpectralTile, kSpectralColumns, CV_32F);
  constexpr float kScale = 1.0F / (kSpectralTile * kSpectralTile);
  const auto at = [&](int fx, int fy) {
    return (scratch.re[fx][fy] * scratch.re[fx][fy] + scratch.im[fx][fy] * scratch.im[fx][fy]) * kScale;
  };
  for (int fy = 0; fy < kSpectralTile; ++fy) {
    auto* row = power.ptr<float>(fy);
    for (int fx = 0; fx < kSpectralColumns; ++fx)
      row[fx] = fy <= kHalf ? at(fx, fy) : at((kSpectralTile - fx) % kSpectralTile, kSpectralTile - fy);
  }
  return power;
}

}  // namespace lookdown::cull
