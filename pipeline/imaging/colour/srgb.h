// The transfer curve of sRGB (IEC 61966-2-1, equations 5 to 8), the working space: coded values as pixels
// hold them against the light that they stand for. Both from 0 to 1.
#pragma once

#include <array>
#include <cmath>

namespace lookdown {

[[nodiscard]] inline double light_from_srgb(double coded) {
  return coded <= 0.04045 ? coded / 12.92 : std::pow((coded + 0.055) / 1.055, 2.4);
}

[[nodiscard]] inline double srgb_from_light(double light) {
  return light <= 0.0031308 ? 12.92 * light : 1.055 * std::pow(light, 1 / 2.4) - 0.055;
}

/// Light of every 8-bit code value.
[[nodiscard]] inline const std::array<float, 256>& light_of_bytes() {
  static const std::array<float, 256> table = [] {
    std::array<float, 256> light{};
    for (std::size_t level = 0; level < light.size(); ++level)
      light[level] = static_cast<float>(light_from_srgb(static_cast<double>(level) / 255));
    return light;
  }();
  return table;
}

}  // namespace lookdown
