// The ground of a site, painted once into texels with a mip pyramid and read by every frame.
#pragma once

#include <memory>
#include <vector>

#include "geometry.h"
#include "site/site.h"

namespace render {

struct GroundSample {
  Rgb albedo;             // of the ground or, under water, of the bottom
  float sun_visible = 1;  // share of the sun disc not hidden by solids
  float water = 0;        // share covered by water
  float crust = 0;
  float foam = 0;     // floating on the water
  float depth_m = 0;  // of the water
  int pond = -1;
};

class GroundMap {
 public:
  // Paints site plus `margin_m` at `texel_m`; `to_sun` is the unit vector that shadows are cast along.
  GroundMap(const Site& site, Vec3 to_sun, double texel_m, double margin_m);
  ~GroundMap();
  GroundMap(const GroundMap&) = delete;
  GroundMap& operator=(const GroundMap&) = delete;

  // What a pixel of ground size `footprint_m` sees at `at`. Outside the painted part: the base material.
  GroundSample at(Vec2 position, double footprint_m) const;

  Vec2 low() const;   // south-west corner of the painted part
  Vec2 high() const;  // north-east corner

 private:
  struct Layers;
  std::unique_ptr<Layers> layers_;
};

}  // namespace render
