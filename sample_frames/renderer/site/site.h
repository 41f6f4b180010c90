// What stands where: the layout of an invented site, as patches on the ground plane and solids upon it.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "geometry.h"

namespace render {

enum class Material : uint8_t {
  grass,
  meadow,
  gravel,
  crust,
  reed,
  soil,
  track,
  paving,
  asphalt,
  concrete,
  boardwalk,
  sand,
  rock,
  pond_bottom
};

// A piece of ground with one material. Later patches lie upon earlier ones.
struct Patch {
  std::vector<Vec2> points;  // closed polygon, or the middle line of a strip
  double half_width_m = 0;   // > 0: a strip along `points`
  double grow_m = 0;         // polygon grown outward (rims, banks)
  double wobble_m = 0;       // irregularity of the edge
  double softness_m = 0.03;  // width of the transition
  double sparseness = 0;     // 0 = covers fully; towards 1 = only in scattered spots
  Material material = Material::grass;
  int pond = -1;  // index into Site::ponds where the patch is water
  Rgb tint{1, 1, 1};
  uint32_t seed = 0;
};

// Optics of one water body: diffuse attenuation per metre and the colour of deep water (albedo).
struct Pond {
  Rgb attenuation{2, 1, 1.5};
  Rgb deep_albedo{0.03F, 0.05F, 0.03F};
  double max_depth_m = 1.2;
  double bank_slope = 0.5;  // depth gained per metre from the edge
  double shelter = 1;       // factor on the mean square slope of the waves
  double foam = 0;          // 0..1, how much foam lies along the lee bank
};

enum class Roof : uint8_t { ribbed, tiles, bitumen, container, plain };

// A box with vertical walls; `heading` turns it counter-clockwise about its centre.
struct Block {
  Vec2 centre;
  double half_length_m = 1, half_width_m = 1, height_m = 3, base_m = 0, heading = 0;
  Roof roof = Roof::ribbed;
  Rgb roof_albedo{0.5F, 0.5F, 0.5F}, wall_albedo{0.4F, 0.4F, 0.4F};
  uint32_t seed = 0;
};

// A bush, tree crown, body or head: an ellipsoid with vertical axis.
struct Blob {
  Vec3 centre;
  double radius_m = 1, half_height_m = 1;
  Rgb albedo{0.06F, 0.1F, 0.03F};
  bool leafy = true;
  uint32_t seed = 0;
};

// A taut wire, pole or mast between two points.
struct Rod {
  Vec3 from, to;
  double radius_m = 0.02;
  Rgb albedo{0.2F, 0.2F, 0.2F};
};

// A square two-by-two checker board lying on the plane z = 0: a control mark.
struct Board {
  std::string name;
  Vec2 centre;
  double side_m = 0.6, heading = 0;
};

struct Site {
  std::string scene;
  uint32_t seed = 0;
  Vec2 low, high;  // the part that the flight covers
  Material base = Material::meadow;
  Rgb base_tint{1, 1, 1};
  std::vector<Patch> patches;
  std::vector<Pond> ponds;
  std::vector<Block> blocks;
  std::vector<Blob> blobs;
  std::vector<Board> boards;
};

// Builds one of scene_names(); `area_m2` sets how large the site is. Throws std::invalid_argument on another
// name.
Site build_site(const std::string& scene, uint32_t seed, double area_m2);
const std::vector<std::string>& scene_names();

// Signed distance from the patch's edge (negative inside), with the coordinates along and across a strip.
struct EdgeDistance {
  double signed_m, along_m, across_m;
};
EdgeDistance distance_to_edge(const Patch& patch, Vec2 at);

}  // namespace render
