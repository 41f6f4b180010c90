#include "pipeline/imaging/colour/cie_lab.h"

#include <array>
#include <cmath>

#include "pipeline/imaging/colour/srgb.h"

namespace lookdown {
namespace {

/// ISO/CIE 11664-4: cube root with a straight piece near zero.
float lightness_response(float t) {
  constexpr float kLinearBelow = 216.0F / 24389, kSlope = 841.0F / 108;
  return t > kLinearBelow ? std::cbrt(t) : kSlope * t + 4.0F / 29;
}

}  // namespace

cv::Mat3f cie_lab(const cv::Mat3b& bgr) {
  constexpr float kWhiteX = 0.950456F, kWhiteZ = 1.088754F;  // D65, Y = 1
  const auto& linear = light_of_bytes();
  cv::Mat3f lab(bgr.size());
  for (int row = 0; row < bgr.rows; ++row)
    for (int column = 0; column < bgr.cols; ++column) {
      const cv::Vec3b& p = bgr(row, column);
      const float r = linear[p[2]], g = linear[p[1]], b = linear[p[0]];
      const float x = lightness_response((0.412453F * r + 0.357580F * g + 0.180423F * b) / kWhiteX);
      const float y = lightness_response(0.212671F * r + 0.715160F * g + 0.072169F * b);
      const float z = lightness_response((0.019334F * r + 0.119193F * g + 0.950227F * b) / kWhiteZ);
      lab(row, column) = {116 * y - 16, 500 * (x - y), 200 * (y - z)};
    }
  return lab;
}

}  // namespace lookdown
