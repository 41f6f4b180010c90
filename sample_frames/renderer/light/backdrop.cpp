#include "light/backdrop.h"

#include <algorithm>

#include "site/noise.h"

namespace render {
namespace {

// Octaves that a footprint can resolve, so that distant ground does not sparkle.
float resolved_noise(Vec2 p, double size_m, double footprint_m, uint32_t seed, float gain = 0.55F,
                     int most = 6) {
  int octaves = 1;
  for (double finest = size_m; octaves < most && finest > 2 * footprint_m; finest *= 0.5) ++octaves;
  return fractal_noise(static_cast<float>(p.x / size_m), static_cast<float>(p.y / size_m), octaves, seed,
                       gain);
}

Rgb field(Vec2 p, double footprint, uint32_t seed) {
  const double bend_x = p.x + 60 * (resolved_noise(p, 300, footprint, seed + 1) - 0.5);
  const CellHit plot = cell_noise(static_cast<float>(bend_x / 170), static_cast<float>(p.y / 110), seed + 2);
  static const Rgb crops[] = {{0.055F, 0.095F, 0.025F},
                              {0.10F, 0.14F, 0.04F},
                              {0.23F, 0.20F, 0.10F},
                              {0.16F, 0.115F, 0.07F},
                              {0.075F, 0.085F, 0.035F}};
  Rgb colour = crops[plot.id % 5] * (0.75F + 0.5F * unit_float(plot.id * 3U));
  const double c = std::cos(unit_float(plot.id * 7U) * 6.28), s = std::sin(unit_float(plot.id * 7U) * 6.28);
  const float rows = footprint < 0.6 ? 0.2F * std::sin(static_cast<float>((c * p.x + s * p.y) * 5)) : 0;
  colour = colour * (1 + rows) * (0.55F + 0.9F * resolved_noise(p, 26, footprint, seed + 4, 0.68F));
  const float hedge = 1 - smoothstep(0.01F, 0.028F, plot.second - plot.nearest);
  const Rgb leaves =
      Rgb{0.03F, 0.05F, 0.015F} * (0.3F + 1.4F * resolved_noise(p, 5, footprint, seed + 5, 0.7F));
  return mix(colour, leaves, hedge * 0.9F);
}

Rgb wood(Vec2 p, double footprint, uint32_t seed) {
  const CellHit crown = cell_noise(static_cast<float>(p.x / 7), static_cast<float>(p.y / 7), seed);
  const float shape = footprint < 7 ? 1.25F - 1.1F * crown.nearest : 0.8F;
  const float leaves = 0.35F + 1.3F * resolved_noise(p, 4, footprint, seed + 1, 0.7F);
  const Rgb tone = mix(Rgb{0.025F, 0.048F, 0.012F}, Rgb{0.065F, 0.085F, 0.02F},
                       footprint < 12 ? unit_float(crown.id) : 0.5F);
  return tone *
         (std::max(0.15F, shape) * leaves * (0.7F + 0.6F * resolved_noise(p, 400, footprint, seed + 2)));
}

Rgb town(Vec2 p, double footprint, uint32_t seed) {
  const double bx = p.x / 24, by = p.y / 19;
  const int ix = static_cast<int>(std::floor(bx)), iy = static_cast<int>(std::floor(by));
  const uint32_t id = hash(uint32_t(ix), uint32_t(iy), seed);
  const double u = std::abs(bx - ix - 0.5), v = std::abs(by - iy - 0.5);
  const bool built = u < 0.22 + 0.12 * unit_float(id) && v < 0.22 + 0.1 * unit_float(id * 3U);
  const bool street = u > 0.44 || v > 0.45;
  static const Rgb roofs[] = {
      {0.30F, 0.11F, 0.07F}, {0.36F, 0.34F, 0.32F}, {0.62F, 0.6F, 0.56F}, {0.14F, 0.14F, 0.15F}};
  Rgb colour = built ? roofs[id % 4] : (street ? Rgb{0.12F, 0.12F, 0.12F} : wood(p, footprint, seed + 3));
  if (built) colour = colour * (v < 0.11 ? 1.15F : 0.72F);
  return colour * (0.7F + 0.6F * resolved_noise(p, 8, footprint, seed + 5, 0.65F));
}

}  // namespace

const char* name_of(Country country) {
  switch (country) {
    case Country::fields:
      return "fields";
    case Country::woods:
      return "woods";
    case Country::sea:
      return "sea";
    case Country::coast:
      return "coast";
    case Country::town:
      return "town";
    case Country::hills:
      return "hills";
  }
  return "";
}

BackdropPoint backdrop_at(const Backdrop& backdrop, Vec2 p, double footprint, double distance) {
  const uint32_t seed = backdrop.seed * 101 + 11;
  const bool sea_like = backdrop.country == Country::sea || backdrop.country == Country::coast;
  // Far below one pixel a cell is meaningless: blend to the mean tone.
  const float far = smoothstep(25.0F, 120.0F, static_cast<float>(footprint));
  BackdropPoint point;
  float water = 0;
  if (sea_like) {
    const double facing = unit_float(hash(seed, 3)) * 2 * kPi;
    const double out = p.x * std::cos(facing) + p.y * std::sin(facing);
    const double shore = backdrop.country == Country::sea ? 45 : 350;
    const float edge =
        static_cast<float>(out - shore) + 160 * (resolved_noise(p, 240, footprint, seed + 7) - 0.5F);
    water = smoothstep(-1.5F, 1.5F, edge);
    if (backdrop.country == Country::sea && distance > 600) water = 1;
    const float beach = smoothstep(-22, -8, edge);
    point.albedo =
        mix(field(p, footprint, seed),
            Rgb{0.42F, 0.36F, 0.26F} * (0.7F + 0.6F * resolved_noise(p, 3, footprint, seed + 8)), beach);
    if (water > 0) {
      const float swell = resolved_noise({p.x, p.y * 0.4}, 14, footprint, seed + 9);
      const float crest =
          smoothstep(0.70F, 0.74F, resolved_noise({p.x * 0.5, p.y}, 5, footprint, seed + 10)) *
          (footprint < 2 ? 1.0F : 0.0F);
      point.albedo =
          mix(point.albedo,
              mix(Rgb{0.02F, 0.045F, 0.05F} * (0.6F + 0.8F * swell), Rgb{0.5F, 0.52F, 0.52F}, 0.7F * crest),
              water);
    }
    point.water = water;
    return point;
  }
  const float wooded = resolved_noise(p, 900, footprint, seed + 12);
  float woods = smoothstep(0.50F, 0.54F, wooded);
  if (backdrop.country == Country::woods) woods = smoothstep(0.36F, 0.40F, wooded);
  if (far < 1 && woods < 1) point.albedo = field(p, footprint, seed);
  if (far < 1 && woods > 0) point.albedo = mix(point.albedo, wood(p, footprint, seed + 20), woods);
  if (backdrop.country == Country::town) {
    const float built = smoothstep(0.47F, 0.52F, resolved_noise(p, 700, footprint, seed + 14));
    if (built > 0) point.albedo = mix(point.albedo, town(p, footprint, seed + 30), built);
  }
  if (far > 0) {
    const Rgb mean = mix(Rgb{0.09F, 0.10F, 0.045F}, Rgb{0.04F, 0.055F, 0.02F}, woods) *
                     (0.6F + 0.8F * resolved_noise(p, 600, footprint, seed + 15));
    point.albedo = mix(point.albedo, mean, far);
  }
  const float pond = smoothstep(0.70F, 0.71F, resolved_noise(p, 260, footprint, seed + 16));
  point.water = pond * (1 - far);
  return point;
}

Skyline skyline_at(const Backdrop& backdrop, double azimuth) {
  Skyline line{-1, -1};
  const uint32_t seed = backdrop.seed * 57 + 5;
  const auto a = static_cast<float>(azimuth);
  // Noise on a circle: no break at north.
  const auto ring = [&](float detail, int octaves, uint32_t s) {
    return fractal_noise(std::cos(a) * detail + 40, std::sin(a) * detail + 40, octaves, s, 0.5F);
  };
  if (backdrop.country != Country::sea) {
    const float tall =
        backdrop.country == Country::woods ? 0.20F : (backdrop.country == Country::coast ? 0.05F : 0.12F);
    line.trees = radians(tall * (0.2 + 1.2 * ring(6, 3, seed) * ring(160, 4, seed + 1)));
  }
  if (backdrop.hill_height_deg > 0)
    line.hills = radians(backdrop.hill_height_deg * (1.9 * ring(1.1F, 8, seed + 2) - 0.45));
  return line;
}

}  // namespace render
