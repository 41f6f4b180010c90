#include "stages/cull/exposure.h"

#include <array>
#include <cmath>
#include <cstdint>
#include <opencv2/core.hpp>

#include "pipeline/imaging/colour/srgb.h"

namespace lookdown::cull {
namespace {

constexpr int kTop = 254;
constexpr int kBottom = 1;

std::array<double, 256> linear_light() {
  std::array<double, 256> table{};
  for (int v = 0; v < 256; ++v) table[v] = light_from_srgb(v / 255.0);
  return table;
}

}  // namespace

void measure_exposure(const cv::Mat& bgr, Sharpness& out) {
  static const std::array<double, 256> linear = linear_light();
  std::int64_t high = 0, low = 0;
  std::array<std::int64_t, 3> high_channel{};
  double level = 0;
  for (int y = 0; y < bgr.rows; ++y) {
    const auto* row = bgr.ptr<cv::Vec3b>(y);
    for (int x = 0; x < bgr.cols; ++x) {
      const cv::Vec3b& p = row[x];
      bool any_high = false;
      for (int c = 0; c < 3; ++c) {
        const bool top = p[c] >= kTop;
        high_channel[2 - c] += top;
        any_high |= top;
      }
      high += any_high;
      low += p[0] <= kBottom && p[1] <= kBottom && p[2] <= kBottom;
      level += 0.2126 * linear[p[2]] + 0.7152 * linear[p[1]] + 0.0722 * linear[p[0]];
    }
  }
  const double pixels = std::max<double>(1.0, static_cast<double>(bgr.total()));
  out.clipped_high_share = high / pixels;
  out.clipped_low_share = low / pixels;
  for (int c = 0; c < 3; ++c) out.clipped_high_channel_share[c] = high_channel[c] / pixels;
  out.mean_level = level / pixels;
}

}  // namespace lookdown::cull
