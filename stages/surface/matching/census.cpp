#include "stages/surface/matching/census.h"

#include <opencv2/imgproc.hpp>

namespace lookdown::surface {

void take_census(const cv::Mat& grey, Census& census) {
  constexpr int kReach = Census::kReach;
  cv::Mat padded;
  cv::copyMakeBorder(grey, padded, kReach, kReach, kReach, kReach, cv::BORDER_REPLICATE);
  for (cv::Mat& plane : census.planes) {
    plane.create(grey.size(), CV_8UC1);
    plane.setTo(0);
  }
  const int width = grey.cols;  // kept apart: bytes that are written may alias the header
  int bit = 0;
  for (int dy = -kReach; dy <= 0; ++dy)
    for (int dx = -kReach; dx <= (dy < 0 ? kReach : -1); ++dx, ++bit) {
      cv::Mat& plane = census.planes[std::size_t(bit / 8)];
      const auto flag = std::uint8_t(1U << unsigned(bit % 8));
      for (int row = 0; row < grey.rows; ++row) {
        const std::uint8_t* __restrict near = padded.ptr(row + kReach + dy) + kReach + dx;
        const std::uint8_t* __restrict far = padded.ptr(row + kReach - dy) + kReach - dx;
        std::uint8_t* __restrict out = plane.ptr(row);
        for (int column = 0; column < width; ++column)
          out[column] = std::uint8_t(out[column] | (near[column] > far[column] ? flag : 0));
      }
    }
  census.seen.release();
  if (cv::countNonZero(grey) == int(grey.total())) return;
  const cv::Mat shown = grey > 0;
  cv::erode(shown, census.seen, cv::Mat(2 * kReach + 1, 2 * kReach + 1, CV_8UC1, cv::Scalar(1)));
}

void differing_bits(const Census& a, const Census& b, cv::Mat& bits) {
  bits.create(a.planes[0].size(), CV_8UC1);
  const int width = bits.cols;
  for (int row = 0; row < bits.rows; ++row) {
    std::uint8_t* __restrict out = bits.ptr(row);
    for (std::size_t plane = 0; plane < a.planes.size(); ++plane) {
      const std::uint8_t *one = a.planes[plane].ptr(row), *other = b.planes[plane].ptr(row);
      for (int column = 0; column < width; ++column) {
        // Bits set in a byte, by adding up ever wider fields.
        auto x = std::uint8_t(one[column] ^ other[column]);
        x = std::uint8_t(x - ((x >> 1U) & 0x55U));
        x = std::uint8_t((x & 0x33U) + ((x >> 2U) & 0x33U));
        x = std::uint8_t((x + (x >> 4U)) & 0x0FU);
        out[column] = std::uint8_t(plane == 0 ? x : out[column] + x);
      }
    }
    for (const cv::Mat* seen : {&a.seen, &b.seen}) {
      if (seen->empty()) continue;
      const std::uint8_t* there = seen->ptr(row);
      for (int column = 0; column < width; ++column) out[column] = there[column] ? out[column] : kUnknown;
    }
  }
}

}  // namespace lookdown::surface
