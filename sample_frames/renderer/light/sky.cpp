#include "light/sky.h"

#include <algorithm>

#include "site/noise.h"

namespace render {
namespace {

constexpr int kDomeWidth = 256, kDomeHeight = 64;

}  // namespace

Sky::Sky(const Weather& weather)
    : weather_(weather),
      to_sun_{std::sin(weather.sun_azimuth) * std::cos(weather.sun_elevation),
              std::cos(weather.sun_azimuth) * std::cos(weather.sun_elevation),
              std::sin(weather.sun_elevation)} {
  const double e = weather.sun_elevation;
  const auto share = static_cast<float>(std::clamp(0.86 - 0.22 * (1 - std::sin(e)), 0.5, 0.86));
  const auto warm = static_cast<float>(1 - std::sin(e));
  sun_ = Rgb{1.03F + 0.10F * warm, 1.0F, 0.94F - 0.22F * warm} * share;
  ambient_ = Rgb{0.86F, 0.97F, 1.22F} * (1 - share);
  dome_.resize(size_t(kDomeWidth) * kDomeHeight);
  for (int j = 0; j < kDomeHeight; ++j)
    for (int i = 0; i < kDomeWidth; ++i) {
      const double elevation = (j + 0.5) / kDomeHeight * kPi / 2, azimuth = (i + 0.5) / kDomeWidth * 2 * kPi;
      const Vec3 d{std::sin(azimuth) * std::cos(elevation), std::cos(azimuth) * std::cos(elevation),
                   std::sin(elevation)};
      const float cloud = cloud_at(d, 4);
      dome_[size_t(j) * kDomeWidth + i] = mix(clear(d), Rgb{0.78F, 0.80F, 0.84F}, cloud);
    }
}

Rgb Sky::clear(Vec3 d) const {
  const auto up = static_cast<float>(std::max(0.0, d.z));
  const auto milky = static_cast<float>(weather_.turbidity);
  const Rgb zenith = mix(Rgb{0.055F, 0.12F, 0.27F}, Rgb{0.20F, 0.27F, 0.37F}, milky);
  const Rgb horizon = mix(Rgb{0.36F, 0.46F, 0.58F}, Rgb{0.66F, 0.69F, 0.71F}, milky);
  Rgb colour = mix(horizon, zenith, 1 - std::exp(-up * 3.6F));
  const auto cosine = static_cast<float>(std::clamp(dot(d, to_sun_), -1.0, 1.0));
  const float away = std::acos(cosine);
  const float aureole = 0.55F * std::exp(-away * away / 0.09F) + 0.18F * std::exp(-away / 0.5F);
  return colour + Rgb{1.0F, 0.94F, 0.84F} * aureole;
}

float Sky::cloud_at(Vec3 d, int octaves) const {
  if (weather_.cloud_cover <= 0.01 || d.z < 0.004) return 0;
  const double reach = 1.3 / (d.z + 0.09);
  const float n = fractal_noise(static_cast<float>(d.x * reach + 3.7), static_cast<float>(d.y * reach - 1.2),
                                octaves, weather_.seed * 7 + 1, 0.52F);
  const auto limit = static_cast<float>(0.74 - 0.5 * weather_.cloud_cover);
  return smoothstep(limit, limit + 0.14F, n) * smoothstep(0.004F, 0.06F, static_cast<float>(d.z));
}

float Sky::cloud_texture(Vec3 d) const {
  const double reach = 3.1 / (d.z + 0.09);
  return fractal_noise(static_cast<float>(d.x * reach), static_cast<float>(d.y * reach), 6,
                       weather_.seed * 7 + 2, 0.6F);
}

Rgb Sky::radiance(Vec3 d) const {
  Rgb colour = clear(d);
  const float cloud = cloud_at(d, 7);
  if (cloud > 0) {
    // Bases are grey, edges towards the sun bright.
    const float body = 0.4F + 1.2F * cloud_texture(d);
    const float thick = cloud_at({d.x + 0.02 * to_sun_.x, d.y + 0.02 * to_sun_.y, d.z}, 5);
    const Rgb lit = mix(Rgb{1.05F, 1.03F, 1.0F}, Rgb{0.62F, 0.65F, 0.70F}, clamp01(thick * cloud * body));
    colour = mix(colour, lit, cloud * 0.95F);
  }
  const double away = std::acos(std::clamp(dot(d, to_sun_), -1.0, 1.0));
  if (away < 0.0047) colour = colour + Rgb{60, 57, 50} * (1 - 0.9F * cloud);
  const float near_horizon = std::exp(-static_cast<float>(std::max(0.0, d.z)) / 0.035F);
  return mix(colour, horizon_haze(d), 0.75F * near_horizon);
}

Rgb Sky::reflected_radiance(Vec3 d) const {
  const double elevation = std::asin(std::clamp(d.z, 0.0, 1.0)), azimuth = std::atan2(d.x, d.y) + 2 * kPi;
  const double v = std::clamp(elevation / (kPi / 2) * kDomeHeight - 0.5, 0.0, kDomeHeight - 1.001);
  const double u = azimuth / (2 * kPi) * kDomeWidth - 0.5;
  const int i = static_cast<int>(u), j = static_cast<int>(v);
  const auto fu = static_cast<float>(u - i), fv = static_cast<float>(v - j);
  const auto at = [&](int column, int row) {
    return dome_[size_t(row) * kDomeWidth + size_t(column % kDomeWidth)];
  };
  return mix(mix(at(i, j), at(i + 1, j), fu), mix(at(i, j + 1), at(i + 1, j + 1), fu), fv);
}

Rgb Sky::horizon_haze(Vec3 d) const {
  const double flat = std::hypot(d.x, d.y) + 1e-9;
  return clear({d.x / flat, d.y / flat, 0.02}) * 0.92F;
}

float Sky::sun_through_clouds(double x, double y, double time_s) const {
  if (weather_.cloud_shadow <= 0) return 1;
  const double drift = 6.0 * time_s;
  const auto px = static_cast<float>((x - drift * std::cos(weather_.wind_heading)) / 160);
  const auto py = static_cast<float>((y - drift * std::sin(weather_.wind_heading)) / 160);
  const float n = fractal_noise(px, py, 4, weather_.seed * 7 + 3);
  return 1 - static_cast<float>(weather_.cloud_shadow) * smoothstep(0.48F, 0.66F, n);
}

}  // namespace render
