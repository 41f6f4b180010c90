#include "site/materials.h"

#include <algorithm>

#include "site/noise.h"

namespace render {
namespace {

float noise(double x, double y, double size_m, int octaves, uint32_t seed, float gain = 0.5F) {
  return fractal_noise(static_cast<float>(x / size_m), static_cast<float>(y / size_m), octaves, seed, gain);
}

CellHit cells(double x, double y, double size_m, uint32_t seed) {
  return cell_noise(static_cast<float>(x / size_m), static_cast<float>(y / size_m), seed);
}

// Blades seen from above: thin light streaks of random direction over dark gaps, in tufts.
Rgb grass(double x, double y, uint32_t seed, bool flowers) {
  const float dry = smoothstep(0.35F, 0.72F, noise(x, y, 9, 4, seed));
  const float lush = noise(x, y, 2.2, 3, seed + 9);
  const CellHit tuft = cells(x, y, 0.16, seed + 3);
  const float direction = unit_float(tuft.id) * 6.28F;
  const double c = std::cos(direction), s = std::sin(direction);
  const float blades = value_noise(static_cast<float>((c * x + s * y) / 0.016),
                                   static_cast<float>((-s * x + c * y) / 0.09), seed + 5);
  const float fine = value_noise(static_cast<float>(x / 0.02), static_cast<float>(y / 0.02), seed + 6);
  const Rgb green = mix(Rgb{0.034F, 0.062F, 0.014F}, Rgb{0.085F, 0.125F, 0.034F}, lush);
  const Rgb straw{0.21F, 0.175F, 0.085F};
  Rgb colour = mix(green, straw, dry * (0.35F + 0.5F * unit_float(tuft.id * 7U)));
  const float gap = 1.15F - 0.75F * smoothstep(0.45F, 0.95F, tuft.nearest);
  colour = colour * (gap * (0.35F + 0.9F * blades) * (0.7F + 0.6F * fine));
  if (flowers) {
    const CellHit flower = cells(x, y, 0.22, seed + 31);
    const bool bloom = unit_float(flower.id) < 0.3F * smoothstep(0.5F, 0.75F, noise(x, y, 6, 3, seed + 33));
    if (bloom && flower.nearest < 0.12F)
      colour = unit_float(flower.id * 5U) < 0.5F ? Rgb{0.6F, 0.6F, 0.55F} : Rgb{0.62F, 0.48F, 0.06F};
  }
  return colour;
}

// Stones of three sizes, each with its own tone, dark between them.
Rgb gravel(double x, double y, uint32_t seed) {
  const Rgb pale{0.40F, 0.365F, 0.31F};
  const CellHit large = cells(x, y, 0.13, seed + 1);
  const CellHit medium = cells(x, y, 0.052, seed + 2);
  const CellHit small = cells(x, y, 0.026, seed + 3);
  const auto stone = [](const CellHit& hit) {
    const float edge = smoothstep(0.02F, 0.22F, hit.second - hit.nearest);
    return (0.45F + 0.55F * edge) * (0.6F + 0.85F * unit_float(hit.id) * unit_float(hit.id * 3U + 1U) + 0.2F);
  };
  const bool is_large = unit_float(large.id * 11U) < 0.12F && large.nearest < 0.36F;
  const bool is_medium = unit_float(medium.id * 11U) < 0.45F && medium.nearest < 0.42F;
  const CellHit& chosen = is_large ? large : (is_medium ? medium : small);
  const float tone = is_large ? 0.75F + 0.7F * unit_float(large.id * 5U) * (1 - large.nearest)
                              : stone(chosen) * (is_medium ? 1.0F : 0.88F);
  const float warm = unit_float(chosen.id * 17U);
  const float patchy = 0.8F + 0.4F * noise(x, y, 3.5, 4, seed + 8);
  return pale * Rgb{1.02F, 0.96F + 0.06F * warm, 0.86F + 0.2F * warm} * (tone * patchy);
}

// White mineral crust: plates with dark cracks, thin and stained towards its edge.
MaterialPoint crust(double x, double y, uint32_t seed) {
  const double bend = 0.25 * (noise(x, y, 0.7, 3, seed + 4) - 0.5);
  const CellHit plate = cells(x + bend, y - bend, 0.38, seed + 5);
  const float crack = smoothstep(0.0F, 0.07F, plate.second - plate.nearest - 0.02F);
  const float hairline = smoothstep(0.0F, 0.09F, [&] {
    const CellHit fine = cells(x - bend, y + bend, 0.11, seed + 6);
    return fine.second - fine.nearest;
  }());
  const float grain = 0.88F + 0.24F * noise(x, y, 0.03, 2, seed + 7);
  const float stain = noise(x, y, 1.6, 4, seed + 8);
  Rgb white = mix(Rgb{0.80F, 0.79F, 0.76F}, Rgb{0.62F, 0.57F, 0.47F}, smoothstep(0.45F, 0.8F, stain));
  white = white * ((0.35F + 0.65F * crack) * (0.86F + 0.14F * hairline) * grain *
                   (0.9F + 0.2F * unit_float(plate.id)));
  return {white, 1.0F};
}

// Reeds: bundles of stalks leaning many ways, seed heads catching light, deep gaps.
Rgb reed(double x, double y, uint32_t seed) {
  const float stand = noise(x, y, 5, 4, seed);
  const CellHit bundle = cells(x, y, 0.34, seed + 2);
  const float direction = unit_float(bundle.id) * 6.28F;
  const double c = std::cos(direction), s = std::sin(direction);
  const float stalks = value_noise(static_cast<float>((c * x + s * y) / 0.024),
                                   static_cast<float>((-s * x + c * y) / 0.34), seed + 4);
  const CellHit head = cells(x, y, 0.12, seed + 5);
  const Rgb green = mix(Rgb{0.05F, 0.085F, 0.02F}, Rgb{0.13F, 0.15F, 0.05F}, unit_float(bundle.id * 3U));
  const Rgb brown{0.17F, 0.125F, 0.065F};
  Rgb colour = mix(green, brown, smoothstep(0.4F, 0.7F, stand) * 0.8F);
  colour = colour * ((1.25F - 1.0F * smoothstep(0.35F, 0.85F, bundle.nearest)) * (0.25F + 1.3F * stalks));
  if (unit_float(head.id) < 0.16F && head.nearest < 0.24F)
    colour = mix(colour, Rgb{0.36F, 0.28F, 0.17F}, 0.8F);
  return colour;
}

Rgb soil(double x, double y, uint32_t seed) {
  const float wet = noise(x, y, 2.8, 5, seed);
  const CellHit clod = cells(x, y, 0.06, seed + 2);
  const float clods = 0.62F + 0.75F * unit_float(clod.id) * smoothstep(0, 0.3F, clod.second - clod.nearest);
  const Rgb base = mix(Rgb{0.27F, 0.205F, 0.14F}, Rgb{0.12F, 0.085F, 0.055F}, smoothstep(0.35F, 0.7F, wet));
  return base * (clods * (0.8F + 0.4F * noise(x, y, 0.02, 2, seed + 3)));
}

Rgb track(double x, double y, double across, uint32_t seed) {
  const auto rut = static_cast<float>(std::exp(-std::pow((std::abs(across) - 0.75) / 0.2, 2)));
  const Rgb stony =
      mix(soil(x, y, seed), gravel(x, y, seed + 40), smoothstep(0.35F, 0.6F, noise(x, y, 0.8, 3, seed)));
  const Rgb verge = mix(stony, grass(x, y, seed + 50, false),
                        smoothstep(0.45F, 0.6F, noise(x, y, 0.6, 3, seed + 51)) * (1 - rut));
  return mix(verge, stony * 0.75F, rut);
}

Rgb paving(double x, double y, uint32_t seed) {
  const double slab_m = 0.5;
  const double row = std::floor(y / slab_m);
  const double shifted = x + (static_cast<int>(row) & 1 ? slab_m / 2 : 0);
  const double column = std::floor(shifted / slab_m);
  const double joint = std::min(
      {shifted - column * slab_m, (column + 1) * slab_m - shifted, y - row * slab_m, (row + 1) * slab_m - y});
  const uint32_t id = hash(uint32_t(int(row)), uint32_t(int(column)), seed);
  const float stain = noise(x, y, 1.9, 5, seed + 1);
  const Rgb tone = Rgb{0.37F, 0.35F, 0.32F} * (0.75F + 0.4F * unit_float(id)) * (0.62F + 0.7F * stain);
  const Rgb gap = unit_float(id * 7U) < 0.3F ? Rgb{0.05F, 0.08F, 0.02F} : Rgb{0.07F, 0.06F, 0.05F};
  const float edge = smoothstep(0.008F, 0.022F, static_cast<float>(joint));
  return mix(gap, tone * (0.85F + 0.3F * noise(x, y, 0.012, 2, seed + 2)), edge);
}

Rgb hard_surface(double x, double y, uint32_t seed, Rgb base) {
  const float patchy = noise(x, y, 4, 5, seed);
  const CellHit stone = cells(x, y, 0.018, seed + 2);
  const CellHit slab = cells(x + 0.2 * noise(x, y, 0.5, 3, seed + 8), y, 3.1, seed + 3);
  const float crack = smoothstep(0.0F, 0.012F, slab.second - slab.nearest);
  const float spots = smoothstep(0.70F, 0.78F, noise(x, y, 0.45, 3, seed + 5));
  return base * ((0.7F + 0.6F * patchy) * (0.62F + 0.8F * unit_float(stone.id)) * (0.3F + 0.7F * crack) *
                 (1 - 0.4F * spots));
}

Rgb boardwalk(double along, double across, uint32_t seed) {
  const double plank_m = 0.145;
  const double index = std::floor(along / plank_m);
  const double inside = along - index * plank_m;
  const uint32_t id = hash(uint32_t(int(index)), seed, 3);
  const float grain =
      value_noise(static_cast<float>(along / 0.012), static_cast<float>(across / 0.3), seed + 1);
  Rgb wood = mix(Rgb{0.30F, 0.25F, 0.19F}, Rgb{0.40F, 0.37F, 0.33F}, unit_float(id)) *
             (0.65F + 0.35F * unit_float(id * 3U) + 0.25F * grain);
  const bool nail = std::abs(inside - plank_m / 2) < 0.012 && std::abs(std::abs(across) - 0.5) < 0.012;
  if (nail) wood = {0.03F, 0.03F, 0.03F};
  const float gap = smoothstep(0.0F, 0.012F, static_cast<float>(std::min(inside, plank_m - inside) - 0.004));
  return mix(Rgb{0.02F, 0.018F, 0.015F}, wood, gap);
}

Rgb sand(double x, double y, uint32_t seed) {
  const float ripple = value_noise(static_cast<float>((x + 0.4 * noise(x, y, 1.1, 3, seed)) / 0.09),
                                   static_cast<float>(y / 0.7), seed + 1);
  const CellHit shell = cells(x, y, 0.14, seed + 2);
  Rgb colour =
      Rgb{0.46F, 0.39F, 0.28F} * ((0.75F + 0.3F * ripple) * (0.75F + 0.5F * noise(x, y, 0.025, 2, seed + 3)) *
                                  (0.8F + 0.4F * noise(x, y, 4, 4, seed + 4)));
  if (unit_float(shell.id) < 0.2F && shell.nearest < 0.13F) colour = {0.66F, 0.62F, 0.55F};
  return colour;
}

Rgb rock(double x, double y, uint32_t seed) {
  const CellHit boulder = cells(x, y, 0.75, seed + 1);
  const float edge = smoothstep(0.0F, 0.16F, boulder.second - boulder.nearest);
  const float face = 0.7F + 0.6F * value_noise(float(x / 0.22), float(y / 0.22), boulder.id);
  return Rgb{0.33F, 0.32F, 0.30F} * ((0.16F + 0.84F * edge) * (0.6F + 0.7F * unit_float(boulder.id)) * face *
                                     (0.8F + 0.4F * noise(x, y, 0.03, 3, seed + 4)));
}

Rgb pond_bottom(double x, double y, uint32_t seed) {
  const float silt = noise(x, y, 3.2, 5, seed);
  const float weed = smoothstep(0.56F, 0.68F, noise(x, y, 1.1, 5, seed + 1, 0.6F));
  const CellHit pebble = cells(x, y, 0.09, seed + 2);
  Rgb colour = mix(Rgb{0.24F, 0.19F, 0.12F}, Rgb{0.12F, 0.10F, 0.06F}, silt);
  colour = mix(colour, Rgb{0.035F, 0.055F, 0.012F} * (0.4F + 1.3F * noise(x, y, 0.05, 3, seed + 3)), weed);
  if (unit_float(pebble.id) < 0.1F && pebble.nearest < 0.3F)
    colour = mix(colour, Rgb{0.4F, 0.37F, 0.32F}, 0.7F);
  return colour * (0.75F + 0.5F * noise(x, y, 0.04, 2, seed + 6));
}

}  // namespace

MaterialPoint material_at(Material material, double x, double y, double along_m, double across_m,
                          uint32_t seed) {
  switch (material) {
    case Material::grass:
      return {grass(x, y, seed, false)};
    case Material::meadow:
      return {grass(x, y, seed, true)};
    case Material::gravel:
      return {gravel(x, y, seed)};
    case Material::crust:
      return crust(x, y, seed);
    case Material::reed:
      return {reed(x, y, seed)};
    case Material::soil:
      return {soil(x, y, seed)};
    case Material::track:
      return {track(x, y, across_m, seed)};
    case Material::paving:
      return {paving(x, y, seed)};
    case Material::asphalt:
      return {hard_surface(x, y, seed, {0.085F, 0.085F, 0.088F})};
    case Material::concrete:
      return {hard_surface(x, y, seed, {0.34F, 0.33F, 0.31F})};
    case Material::boardwalk:
      return {boardwalk(along_m, across_m, seed)};
    case Material::sand:
      return {sand(x, y, seed)};
    case Material::rock:
      return {rock(x, y, seed)};
    case Material::pond_bottom:
      return {pond_bottom(x, y, seed)};
  }
  return {};
}

Rgb close_grass(double x, double y, uint32_t seed) {
  // Layers of blades from the ground up; each layer scatters blades of its own length and lean over the one
  // below.
  Rgb colour = Rgb{0.055F, 0.042F, 0.025F} * (0.4F + 1.2F * noise(x, y, 0.008, 3, seed));
  constexpr int kLayers = 9;
  for (int layer = 0; layer < kLayers; ++layer) {
    const double spacing = 0.016 + 0.002 * layer;
    const int ix = static_cast<int>(std::floor(x / spacing)), iy = static_cast<int>(std::floor(y / spacing));
    for (int j = -2; j <= 2; ++j)
      for (int i = -2; i <= 2; ++i) {
        const uint32_t id = hash(uint32_t(ix + i), uint32_t(iy + j), seed + 60U + uint32_t(layer));
        const double root_x = (ix + i + unit_float(id)) * spacing,
                     root_y = (iy + j + unit_float(id * 3U)) * spacing;
        const double lean = unit_float(id * 7U) * 2 * kPi, reach = 0.02 + 0.018 * unit_float(id * 11U);
        const double dx = x - root_x, dy = y - root_y;
        const double along = std::cos(lean) * dx + std::sin(lean) * dy;
        if (along < 0 || along > reach) continue;
        const double bend = 12 * (unit_float(id * 13U) - 0.5) * along * along;
        const double across = -std::sin(lean) * dx + std::cos(lean) * dy - bend;
        const double half_width = (0.0012 + 0.0014 * unit_float(id * 17U)) * (1 - 0.8 * along / reach);
        if (std::abs(across) > 1.9 * half_width) continue;
        if (std::abs(across) > half_width) {
          if (across > 0) colour = colour * 0.55F;  // its shadow on what lies below
          continue;
        }
        const Rgb green = mix(Rgb{0.05F, 0.10F, 0.02F}, Rgb{0.14F, 0.19F, 0.055F}, unit_float(id * 19U));
        const Rgb tone = unit_float(id * 23U) < 0.16F ? Rgb{0.30F, 0.25F, 0.13F} : green;
        const float rib = std::abs(across) < 0.2 * half_width ? 1.3F : 1.0F;
        colour = tone * (rib * (0.45F + 0.75F * float(along / reach)) * (0.55F + 0.09F * float(layer)));
      }
  }
  return colour;
}

Rgb roof_albedo(const Block& block, double u, double v, double footprint_m) {
  const uint32_t seed = block.seed;
  const float dirt = noise(u, v, 2.4, 5, seed);
  const float streak = value_noise(static_cast<float>(u / 0.12), static_cast<float>(v / 3.0), seed + 1);
  Rgb colour = block.roof_albedo * ((0.72F + 0.5F * dirt) * (0.86F + 0.28F * streak));
  if (block.roof == Roof::bitumen) {
    const CellHit chip = cells(u, v, 0.03, seed + 2);
    const double seam = std::fmod(std::abs(v) + 0.5, 1.0);
    return colour * ((0.65F + 0.7F * unit_float(chip.id)) * (seam < 0.03 ? 0.55F : 1.0F));
  }
  if (block.roof == Roof::tiles) {
    const double row = std::floor(v / 0.33), column = std::floor(u / 0.24 + 0.5 * (int(row) & 1));
    const uint32_t id = hash(uint32_t(int(row)), uint32_t(int(column)), seed);
    const double in_row = v / 0.33 - row;
    return colour * ((0.7F + 0.55F * unit_float(id)) * (in_row < 0.12 ? 0.4F : 1.0F));
  }
  if (block.roof == Roof::plain) return colour * (0.9F + 0.2F * noise(u, v, 0.05, 3, seed + 5));
  // Ribs: the sunlit flank is lighter, the other darker; sheets of 1 m with bolts; rust at some laps.
  const double pitch = block.roof == Roof::container ? 0.28 : 0.25;
  const double phase = u / pitch - std::floor(u / pitch);
  const float visible = clamp01(static_cast<float>(1.6 - footprint_m / (0.4 * pitch)));
  const float flank = phase < 0.16 ? 0.32F : (phase < 0.30 ? -0.42F : 0.0F);
  colour = colour * (1 + visible * flank);
  const double sheet = u - std::floor(u / 1.0), lap = v / 2.1 - std::floor(v / 2.1);
  if (lap < 0.012) colour = colour * 0.6F;
  const double bolt_v = v / 0.7 - std::floor(v / 0.7);
  if (std::abs(bolt_v - 0.5) < 0.025 && std::abs(phase - 0.62) < 0.08) colour = colour * 0.35F;
  const uint32_t id = hash(uint32_t(int(std::floor(u))), uint32_t(int(std::floor(v / 2.1))), seed);
  colour = colour * (0.88F + 0.24F * unit_float(id));
  const float rust = smoothstep(0.62F, 0.8F, noise(u, v * 0.4, 0.6, 4, seed + 9));
  colour = mix(colour, Rgb{0.22F, 0.09F, 0.04F}, 0.7F * rust);
  return sheet < 0.015 ? colour * 0.7F : colour;
}

Rgb wall_albedo(const Block& block, double u, double height_m, double footprint_m) {
  const uint32_t seed = block.seed + 71;
  Rgb colour = block.wall_albedo * (0.8F + 0.35F * noise(u, height_m, 1.2, 4, seed));
  const double pitch = 0.3, phase = u / pitch - std::floor(u / pitch);
  if (footprint_m < 0.15) colour = colour * (phase < 0.2 ? 0.75F : 1.0F);
  const double bay = u / 4.0 - std::floor(u / 4.0);
  const bool window = block.height_m > 2.8 && bay > 0.3 && bay < 0.62 && height_m > 1.2 && height_m < 2.2;
  if (window) colour = {0.04F, 0.05F, 0.06F};
  return colour * clamp01(static_cast<float>(0.55 + height_m * 0.3));
}

}  // namespace render
