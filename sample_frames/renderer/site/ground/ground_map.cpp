#include "site/ground/ground_map.h"

#include <tbb/parallel_for.h>

#include <algorithm>
#include <array>

#include "site/ground/ground_paint.h"
#include "site/noise.h"

namespace render {
namespace {

using Texel = std::array<uint8_t, 4>;

// Square-root coded texels; each level halves the one before.
struct Pyramid {
  struct Level {
    int width, height;
    std::vector<Texel> texels;
  };
  std::vector<Level> levels;

  void build(int width, int height, std::vector<Texel> base) {
    levels.push_back({width, height, std::move(base)});
    while (levels.back().width > 8 && levels.back().height > 8 && levels.size() < 12) {
      const Level& fine = levels.back();
      Level coarse{fine.width / 2, fine.height / 2, {}};
      coarse.texels.resize(size_t(coarse.width) * coarse.height);
      tbb::parallel_for(0, coarse.height, [&](int y) {
        for (int x = 0; x < coarse.width; ++x) {
          const Texel* row0 = &fine.texels[size_t(2 * y) * fine.width + 2 * x];
          const Texel* row1 = row0 + fine.width;
          for (int c = 0; c < 4; ++c)
            coarse.texels[size_t(y) * coarse.width + x][c] =
                static_cast<uint8_t>((row0[0][c] + row0[1][c] + row1[0][c] + row1[1][c] + 2) / 4);
        }
      });
      levels.push_back(std::move(coarse));
    }
    for (const Texel& texel : levels.back().texels)
      for (size_t c = 0; c < 4; ++c)
        mean_[c] += static_cast<float>(texel[c]) / static_cast<float>(levels.back().texels.size());
  }

  // Bilinear at one level; x, y in texels of level 0 (texel centres at whole numbers). Wraps when asked.
  std::array<float, 4> bilinear(size_t index, float x, float y, bool wraps) const {
    const Level& level = levels[index];
    const float scale = 1.0F / static_cast<float>(1 << index);
    const float u = (x + 0.5F) * scale - 0.5F, v = (y + 0.5F) * scale - 0.5F;
    const int iu = floor_int(u), iv = floor_int(v);
    const float fu = u - static_cast<float>(iu), fv = v - static_cast<float>(iv);
    const auto column = [&](int i) {
      return wraps ? i & (level.width - 1) : std::clamp(i, 0, level.width - 1);
    };
    const auto row = [&](int j) {
      return wraps ? j & (level.height - 1) : std::clamp(j, 0, level.height - 1);
    };
    const Texel* top = &level.texels[size_t(row(iv)) * level.width];
    const Texel* bottom = &level.texels[size_t(row(iv + 1)) * level.width];
    const int left = column(iu), right = column(iu + 1);
    std::array<float, 4> value;
    for (size_t c = 0; c < 4; ++c) {
      const float a = static_cast<float>(top[left][c]), b = static_cast<float>(top[right][c]);
      const float p = static_cast<float>(bottom[left][c]), q = static_cast<float>(bottom[right][c]);
      const float above = a + fu * (b - a), below = p + fu * (q - p);
      value[c] = above + fv * (below - above);
    }
    return value;
  }

  std::array<float, 4> at(float x, float y, float footprint_texels, bool wraps) const {
    const float wanted = footprint_texels <= 1 ? 0 : std::log2(footprint_texels);
    const float top = static_cast<float>(levels.size() - 1);
    const float level = std::min(wanted, top);
    const auto lower = static_cast<size_t>(level);
    const float share = level - static_cast<float>(lower);
    auto value = bilinear(lower, x, y, wraps);
    if (share > 0.02F && lower + 1 < levels.size()) {
      const auto coarse = bilinear(lower + 1, x, y, wraps);
      for (size_t c = 0; c < 4; ++c) value[c] += share * (coarse[c] - value[c]);
    }
    return value;
  }

  // Of a tile whose opposite edges meet: two copies at an angle and scales that share no period. One copy
  // alone repeats exactly, and ground that repeats lets frames of different places match, as no meadow does.
  std::array<float, 4> without_period(float x, float y, float footprint_texels) const {
    constexpr float kScale = 0.62F, kCos = 0.814F, kSin = 0.581F;  // about 35.5 degrees
    constexpr float kShare = 0.70711F;  // keeps the contrast of one copy where two are added
    const auto one = at(x, y, footprint_texels, true);
    const auto other =
        at(kScale * (kCos * x - kSin * y), kScale * (kSin * x + kCos * y), kScale * footprint_texels, true);
    std::array<float, 4> value;
    for (size_t c = 0; c < 4; ++c) {
      const float mean = mean_[c];
      value[c] = std::clamp(mean + kShare * (one[c] + other[c] - 2 * mean), 0.0F, 255.0F);
    }
    return value;
  }

 private:
  std::array<float, 4> mean_{};
};

constexpr float kFade = 3;  // metres
constexpr int kDetailSize = 1024;
constexpr double kDetailTexel = 0.003;

constexpr int kBaseSize = 2048;
constexpr double kBaseTexel = 0.02;

// The base material on a tile whose opposite edges meet: near its high edges it fades into what lies before
// its low ones.
Rgb seamless_base(const GroundPainter& painter, int x, int y) {
  constexpr double kSize = kBaseSize * kBaseTexel, kBlend = 6;
  const Vec2 at{(x + 0.5) * kBaseTexel, (y + 0.5) * kBaseTexel};
  const float u = smoothstep(0, 1, static_cast<float>((at.x - kSize) / kBlend + 1));
  const float v = smoothstep(0, 1, static_cast<float>((at.y - kSize) / kBlend + 1));
  const auto row = [&](double northing) {
    const Rgb here = painter.base_albedo({at.x, northing});
    return u > 0 ? mix(here, painter.base_albedo({at.x - kSize, northing}), u) : here;
  };
  const Rgb here = row(at.y);
  return v > 0 ? mix(here, row(at.y - kSize), v) : here;
}

// Sub-texel relief, a factor around 1 (coded as 128): grains, blades and their small shadows.
std::vector<Texel> detail_texels(uint32_t seed) {
  std::vector<Texel> texels(size_t(kDetailSize) * kDetailSize);
  tbb::parallel_for(0, kDetailSize, [&](int y) {
    for (int x = 0; x < kDetailSize; ++x) {
      // Wrap by wrapping the lattice: 1024 texels = 256 cells of 4 texels.
      const auto fx = static_cast<float>(x) / 4.0F, fy = static_cast<float>(y) / 4.0F;
      const CellHit grain = cell_noise(fx, fy, seed);
      const float speck = unit_float(hash(uint32_t(x / 2), uint32_t(y / 2), seed + 1));
      const float tone = 0.62F +
                         0.5F * unit_float(grain.id) * smoothstep(0, 0.25F, grain.second - grain.nearest) +
                         0.28F * speck;
      const auto coded = static_cast<uint8_t>(std::clamp(128.0F * tone, 0.0F, 255.0F));
      texels[size_t(y) * kDetailSize + x] = {coded, coded, coded, coded};
    }
  });
  return texels;
}

}  // namespace

struct GroundMap::Layers {
  Vec2 low, high;
  double texel_m = 0.02;
  Pyramid colour;  // b: r, g, b (square root of albedo), sun visibility
  Pyramid cover;   // water, crust, foam, depth; half the resolution
  Pyramid detail;
  Pyramid base;               // the base material, for beyond the painted part
  std::vector<int16_t> pond;  // nearest pond, at the resolution of `cover`
  int cover_width = 0, cover_height = 0;
};

GroundMap::~GroundMap() = default;
Vec2 GroundMap::low() const {
  return layers_->low;
}
Vec2 GroundMap::high() const {
  return layers_->high;
}

GroundMap::GroundMap(const Site& site, Vec3 to_sun, double texel_m, double margin_m)
    : layers_(std::make_unique<Layers>()) {
  Layers& map = *layers_;
  map.texel_m = texel_m;
  map.low = {site.low.x - margin_m, site.low.y - margin_m};
  const int width = static_cast<int>((site.high.x - site.low.x + 2 * margin_m) / texel_m) / 2 * 2;
  const int height = static_cast<int>((site.high.y - site.low.y + 2 * margin_m) / texel_m) / 2 * 2;
  map.high = {map.low.x + width * texel_m, map.low.y + height * texel_m};
  map.cover_width = width / 2;
  map.cover_height = height / 2;

  std::vector<Texel> colour(size_t(width) * height), cover(size_t(map.cover_width) * map.cover_height);
  map.pond.assign(cover.size(), -1);
  const GroundPainter painter(site, to_sun);
  constexpr int kTile = 64;
  const int tiles_x = (width + kTile - 1) / kTile, tiles_y = (height + kTile - 1) / kTile;
  const auto code = [](float v) { return static_cast<uint8_t>(255.0F * std::sqrt(clamp01(v)) + 0.5F); };
  const auto byte = [](float v) { return static_cast<uint8_t>(255.0F * clamp01(v) + 0.5F); };
  tbb::parallel_for(0, tiles_x * tiles_y, [&](int tile) {
    const int x0 = tile % tiles_x * kTile, y0 = tile / tiles_x * kTile;
    const int x1 = std::min(x0 + kTile, width), y1 = std::min(y0 + kTile, height);
    const Vec2 corner{map.low.x + x0 * texel_m, map.low.y + y0 * texel_m};
    const auto brush = painter.brush_for(corner, {corner.x + kTile * texel_m, corner.y + kTile * texel_m});
    for (int y = y0; y < y1; ++y)
      for (int x = x0; x < x1; ++x) {
        const Vec2 at{map.low.x + (x + 0.5) * texel_m, map.low.y + (y + 0.5) * texel_m};
        const GroundSample g = painter.paint(brush, at);
        colour[size_t(y) * width + x] = {code(g.albedo.r), code(g.albedo.g), code(g.albedo.b),
                                         byte(g.sun_visible)};
        if ((x & 1) == 0 && (y & 1) == 0) {
          const size_t index = size_t(y / 2) * map.cover_width + x / 2;
          cover[index] = {byte(g.water), byte(g.crust), byte(g.foam), byte(g.depth_m / 2.5F)};
          map.pond[index] = static_cast<int16_t>(g.pond);
        }
      }
  });
  map.colour.build(width, height, std::move(colour));
  map.cover.build(map.cover_width, map.cover_height, std::move(cover));
  map.detail.build(kDetailSize, kDetailSize, detail_texels(site.seed + 5));

  std::vector<Texel> base(size_t(kBaseSize) * kBaseSize);
  tbb::parallel_for(0, kBaseSize, [&](int y) {
    for (int x = 0; x < kBaseSize; ++x) {
      const Rgb a = seamless_base(painter, x, y);
      base[size_t(y) * kBaseSize + x] = {code(a.r), code(a.g), code(a.b), 255};
    }
  });
  map.base.build(kBaseSize, kBaseSize, std::move(base));
}

GroundSample GroundMap::at(Vec2 position, double footprint_m) const {
  const Layers& map = *layers_;
  GroundSample sample;
  std::array<float, 4> colour{};
  const bool painted = position.x >= map.low.x && position.y >= map.low.y && position.x < map.high.x &&
                       position.y < map.high.y;
  if (painted) {
    const auto x = static_cast<float>((position.x - map.low.x) / map.texel_m - 0.5);
    const auto y = static_cast<float>((position.y - map.low.y) / map.texel_m - 0.5);
    const auto texels = static_cast<float>(footprint_m / map.texel_m);
    colour = map.colour.at(x, y, texels, false);
    const float cx = x / 2 - 0.25F, cy = y / 2 - 0.25F;
    const auto cover = map.cover.at(cx + 0.25F, cy + 0.25F, texels / 2, false);
    sample.water = cover[0] / 255.0F;
    sample.crust = cover[1] / 255.0F;
    sample.foam = cover[2] / 255.0F;
    sample.depth_m = cover[3] / 255.0F * 2.5F;
    if (cover[0] > 0.5F) {
      const int px = std::clamp(static_cast<int>(x / 2), 0, map.cover_width - 1);
      const int py = std::clamp(static_cast<int>(y / 2), 0, map.cover_height - 1);
      sample.pond = map.pond[size_t(py) * map.cover_width + px];
    }
    sample.sun_visible = colour[3] / 255.0F;
  }
  // The painted part fades into the base material over its last metres.
  const double inside = std::min(
      {position.x - map.low.x, position.y - map.low.y, map.high.x - position.x, map.high.y - position.y});
  if (inside < kFade) {
    const auto base = map.base.without_period(static_cast<float>(position.x / kBaseTexel),
                                              static_cast<float>(position.y / kBaseTexel),
                                              static_cast<float>(footprint_m / kBaseTexel));
    const float share = painted ? smoothstep(0, kFade, static_cast<float>(inside)) : 0;
    for (size_t c = 0; c < 4; ++c) colour[c] = base[c] + share * (colour[c] - base[c]);
  }
  constexpr float kCode = 1.0F / (255.0F * 255.0F);
  sample.albedo = {colour[0] * colour[0] * kCode, colour[1] * colour[1] * kCode,
                   colour[2] * colour[2] * kCode};
  const auto detail_texels = static_cast<float>(footprint_m / kDetailTexel);
  if (detail_texels < 24)
    sample.albedo = sample.albedo * (map.detail.without_period(static_cast<float>(position.x / kDetailTexel),
                                                               static_cast<float>(position.y / kDetailTexel),
                                                               detail_texels)[0] /
                                     128.0F);
  return sample;
}

}  // namespace render
