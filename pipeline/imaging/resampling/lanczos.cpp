#include "pipeline/imaging/resampling/lanczos.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdint>
#include <numbers>
#include <opencv2/core/hal/intrin.hpp>
#include <opencv2/imgproc.hpp>

namespace lookdown {
namespace {

constexpr int kTaps = 8,
              kBefore = kTaps / 2 - 1;          // taps left of, or above, the pixel that holds the position
constexpr int kSteps = 64;                      // of a pixel
constexpr int kRow = 3 * kTaps;                 // bytes of a row of taps
constexpr int kWeightBits = 14, kKeptBits = 6;  // of weights, and of the sums of columns

using Taps = std::array<std::int16_t, kTaps>;

/// In units of 1 / 2^kWeightBits, with the sum of 1 to the unit.
Taps taps_at(double fraction) {
  std::array<double, kTaps> exact{};
  double sum = 0;
  for (int tap = 0; tap < kTaps; ++tap) {
    const double far = std::numbers::pi * (tap - kBefore - fraction);
    exact[tap] = std::abs(far) < 1e-9 ? 1 : std::sin(far) / far * std::sin(far / 4) / (far / 4);
    sum += exact[tap];
  }
  Taps taps{};
  int left = 1 << kWeightBits;
  for (int tap = 0; tap < kTaps; ++tap) {
    taps[tap] = static_cast<std::int16_t>(std::lround(exact[tap] / sum * (1 << kWeightBits)));
    left -= taps[tap];
  }
  taps[fraction < 0.5 ? kBefore : kBefore + 1] += static_cast<std::int16_t>(left);
  return taps;
}

struct Table {
  std::array<std::array<std::int32_t, kTaps / 2>, kSteps + 1>
      pairs{};  ///< two taps each, the first in the low half
  std::array<std::array<std::int16_t, kRow>, kSteps + 1>
      by_channel{};  ///< each tap three times, for blue, green, red
};

const Table& table() {
  static const Table made = [] {
    Table table;
    for (int step = 0; step <= kSteps; ++step) {
      const Taps taps = taps_at(static_cast<double>(step) / kSteps);
      for (int pair = 0; pair < kTaps / 2; ++pair)
        table.pairs[step][pair] = static_cast<std::int32_t>(
            static_cast<std::uint16_t>(taps[2 * pair]) |
            static_cast<std::uint32_t>(static_cast<std::uint16_t>(taps[2 * pair + 1])) << 16U);
      for (int place = 0; place < kRow; ++place) table.by_channel[step][place] = taps[place / 3];
    }
    return table;
  }();
  return made;
}

/// Whole pixel and step of a position.
struct Split {
  int whole, step;
  explicit Split(float position)
      : whole(cvFloor(position)), step(cvRound((position - static_cast<float>(whole)) * kSteps)) {}
};

/// Adds two rows' bytes, each by its half of `weights`, to four sums.
cv::v_int32x4 added(const cv::v_uint16x8& interleaved, const cv::v_int16x8& weights,
                    const cv::v_int32x4& sums) {
  return cv::v_dotprod(cv::v_reinterpret_as_s16(interleaved), weights, sums);
}

/// `first`: the top left tap, `stride`: bytes between rows. Columns are summed first, two rows at a time;
/// then their sums across.
cv::Vec3b weighed(const uchar* first, std::ptrdiff_t stride, const std::array<std::int32_t, kTaps / 2>& down,
                  const std::array<std::int16_t, kRow>& across) {
  std::array<cv::v_int32x4, 6> sums;
  sums.fill(cv::v_setzero_s32());
  for (int pair = 0; pair < kTaps / 2; ++pair, first += 2 * stride) {
    const cv::v_int16x8 weights = cv::v_reinterpret_as_s16(cv::v_setall_s32(down[pair]));
    cv::v_uint8x16 low, high, tail, unused;
    cv::v_zip(cv::v_load(first), cv::v_load(first + stride), low, high);
    cv::v_zip(cv::v_load_low(first + 16), cv::v_load_low(first + stride + 16), tail, unused);
    cv::v_uint16x8 left, right;
    cv::v_expand(low, left, right);
    sums[0] = added(left, weights, sums[0]), sums[1] = added(right, weights, sums[1]);
    cv::v_expand(high, left, right);
    sums[2] = added(left, weights, sums[2]), sums[3] = added(right, weights, sums[3]);
    cv::v_expand(tail, left, right);
    sums[4] = added(left, weights, sums[4]), sums[5] = added(right, weights, sums[5]);
  }
  constexpr int kDropped = kWeightBits - kKeptBits;
  std::array<cv::v_int32x4, 6> products;
  for (int third = 0; third < 3; ++third)
    cv::v_mul_expand(cv::v_rshr_pack<kDropped>(sums[2 * third], sums[2 * third + 1]),
                     cv::v_load(&across[8 * third]), products[2 * third], products[2 * third + 1]);
  // Blue, green, red of taps 0 to 7 follow each other: what lies 12 places apart is of one channel.
  std::array<std::int32_t, 12> folded{};
  for (int third = 0; third < 3; ++third)
    cv::v_store(&folded[4 * third], products[third] + products[third + 3]);
  cv::Vec3b out;
  constexpr int kScaleBits = kWeightBits + kKeptBits;
  for (int channel = 0; channel < 3; ++channel)
    out[channel] = cv::saturate_cast<uchar>((folded[channel] + folded[channel + 3] + folded[channel + 6] +
                                             folded[channel + 9] + (1 << (kScaleBits - 1))) >>
                                            kScaleBits);
  return out;
}

/// The block of taps, the outermost pixels going on beyond the edge.
std::array<uchar, kTaps * kRow> taps_at_edge(const cv::Mat& source, int left, int top) {
  std::array<uchar, kTaps * kRow> block{};
  for (int row = 0; row < kTaps; ++row)
    for (int column = 0; column < kTaps; ++column) {
      const auto& pixel = source.at<cv::Vec3b>(std::clamp(top + row, 0, source.rows - 1),
                                               std::clamp(left + column, 0, source.cols - 1));
      std::copy_n(pixel.val, 3, &block[row * kRow + 3 * column]);
    }
  return block;
}

}  // namespace

cv::Mat lanczos(const cv::Mat& source, const cv::Mat& x, const cv::Mat& y) {
  cv::Mat out;
  if (source.depth() == CV_16U) {
    cv::remap(source, out, x, y, cv::INTER_LANCZOS4, cv::BORDER_REPLICATE);
    return out;
  }
  const Table& weights = table();
  out.create(x.size(), CV_8UC3);
  const auto stride = static_cast<std::ptrdiff_t>(source.step[0]);
  for (int row = 0; row < out.rows; ++row) {
    const auto* right = x.ptr<float>(row);
    const auto* down = y.ptr<float>(row);
    auto* to = out.ptr<cv::Vec3b>(row);
    for (int column = 0; column < out.cols; ++column) {
      const Split across(right[column]), along(down[column]);
      const int left = across.whole - kBefore, top = along.whole - kBefore;
      const bool inside = left >= 0 && top >= 0 && left + kTaps <= source.cols && top + kTaps <= source.rows;
      to[column] = inside ? weighed(source.ptr<uchar>(top) + 3 * static_cast<std::ptrdiff_t>(left), stride,
                                    weights.pairs[along.step], weights.by_channel[across.step])
                          : weighed(taps_at_edge(source, left, top).data(), kRow, weights.pairs[along.step],
                                    weights.by_channel[across.step]);
    }
  }
  return out;
}

}  // namespace lookdown
