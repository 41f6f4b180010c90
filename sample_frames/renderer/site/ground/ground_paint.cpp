#include "site/ground/ground_paint.h"

#include <algorithm>

#include "site/materials.h"
#include "site/noise.h"
#include "site/solids.h"

namespace render {
namespace {

bool touches(Vec2 low, Vec2 high, Vec2 other_low, Vec2 other_high) {
  return low.x <= other_high.x && high.x >= other_low.x && low.y <= other_high.y && high.y >= other_low.y;
}

// Share of the point that the patch covers, from its edge distance, irregularity and sparseness.
float coverage(const Patch& patch, double signed_m, Vec2 at) {
  double edge = signed_m;
  const auto x = static_cast<float>(at.x), y = static_cast<float>(at.y);
  if (patch.wobble_m > 0)
    edge += patch.wobble_m * 2 * (fractal_noise(x / 0.9F, y / 0.9F, 5, patch.seed) - 0.5);
  float cover = 1 - smoothstep(static_cast<float>(-patch.softness_m), static_cast<float>(patch.softness_m),
                               static_cast<float>(edge));
  if (patch.sparseness > 0 && cover > 0) {
    const float spots = fractal_noise(x / 1.3F, y / 1.3F, 6, patch.seed + 3, 0.62F);
    const auto limit = static_cast<float>(0.36 + 0.26 * patch.sparseness);
    cover *= smoothstep(limit, limit + 0.035F, spots);
  }
  return cover;
}

}  // namespace

GroundPainter::Brush GroundPainter::brush_for(Vec2 low, Vec2 high) const {
  Brush brush;
  for (const Patch& patch : site_.patches) {
    const double reach = patch.half_width_m + patch.grow_m + patch.wobble_m + patch.softness_m + 0.1;
    Vec2 patch_low{1e9, 1e9}, patch_high{-1e9, -1e9};
    for (const Vec2 p : patch.points) {
      patch_low = {std::min(patch_low.x, p.x - reach), std::min(patch_low.y, p.y - reach)};
      patch_high = {std::max(patch_high.x, p.x + reach), std::max(patch_high.y, p.y + reach)};
    }
    if (touches(low, high, patch_low, patch_high)) brush.patches.push_back(&patch);
  }
  const double per_height = std::hypot(to_sun_.x, to_sun_.y) / to_sun_.z;
  const auto near = [&](Vec2 centre, double radius, double top) {
    const double reach = radius + top * per_height;
    return touches(low, high, {centre.x - reach, centre.y - reach}, {centre.x + reach, centre.y + reach});
  };
  for (const Block& block : site_.blocks)
    if (near(block.centre, std::hypot(block.half_length_m, block.half_width_m), block.height_m))
      brush.blocks.push_back(&block);
  for (const Blob& blob : site_.blobs)
    if (near({blob.centre.x, blob.centre.y}, blob.radius_m, blob.centre.z + blob.half_height_m))
      brush.blobs.push_back(&blob);
  return brush;
}

float GroundPainter::sun_visible(const Brush& brush, Vec2 at) const {
  const Vec3 from{at.x, at.y, 0.01};
  for (const Block* block : brush.blocks)
    if (hit_block(*block, from, to_sun_)) return 0;
  float visible = 1;
  for (const Blob* blob : brush.blobs)
    if (hit_blob(*blob, from, to_sun_)) visible *= blob->leafy ? 0.18F : 0;
  return visible;
}

Rgb GroundPainter::base_albedo(Vec2 at) const {
  return material_at(site_.base, at.x, at.y, 0, 0, site_.seed * 31 + 7).albedo * site_.base_tint;
}

GroundSample GroundPainter::paint(const Brush& brush, Vec2 at) const {
  GroundSample ground;
  Rgb colour{0, 0, 0};
  float open = 1;  // share not yet covered, from the top patch downward
  for (auto it = brush.patches.rbegin(); it != brush.patches.rend() && open > 0.004F; ++it) {
    const Patch& patch = **it;
    const EdgeDistance edge = distance_to_edge(patch, at);
    if (edge.signed_m > patch.wobble_m + patch.softness_m) continue;
    const float cover = coverage(patch, edge.signed_m, at);
    if (patch.pond >= 0 && ground.pond < 0) ground.pond = patch.pond;
    if (cover <= 0) continue;
    const MaterialPoint material =
        material_at(patch.material, at.x, at.y, edge.along_m, edge.across_m, patch.seed);
    const float share = open * cover;
    colour = colour + material.albedo * patch.tint * share;
    ground.crust += share * material.crust;
    if (patch.pond >= 0) {
      const Pond& pond = site_.ponds[size_t(patch.pond)];
      const double inside = std::max(0.0, -edge.signed_m);
      ground.water += share;
      ground.depth_m = static_cast<float>(std::min(pond.max_depth_m, 0.02 + inside * pond.bank_slope));
      const float lee = static_cast<float>(std::exp(-inside / 1.3));
      const float streaks = fractal_noise(static_cast<float>(at.x / 1.7), static_cast<float>(at.y / 0.8), 6,
                                          patch.seed + 90, 0.6F);
      const auto limit = static_cast<float>(0.78 - 0.24 * pond.foam * lee);
      ground.foam += share * smoothstep(limit, limit + 0.05F, streaks);
    }
    open *= 1 - cover;
  }
  if (open > 0.004F) colour = colour + base_albedo(at) * open;
  ground.albedo = colour;
  ground.sun_visible = sun_visible(brush, at);
  return ground;
}

}  // namespace render
