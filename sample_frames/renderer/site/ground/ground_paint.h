// Evaluates the layered patches of a site at a point: what one texel of the ground map holds.
#pragma once

#include <vector>

#include "site/ground/ground_map.h"
#include "site/site.h"

namespace render {

class GroundPainter {
 public:
  GroundPainter(const Site& site, Vec3 to_sun) : site_(site), to_sun_(to_sun) {}

  // The patches and shadow casters that can touch a rectangle.
  struct Brush {
    std::vector<const Patch*> patches;
    std::vector<const Block*> blocks;
    std::vector<const Blob*> blobs;
  };
  Brush brush_for(Vec2 low, Vec2 high) const;
  GroundSample paint(const Brush& brush, Vec2 at) const;
  Rgb base_albedo(Vec2 at) const;

 private:
  float sun_visible(const Brush& brush, Vec2 at) const;

  const Site& site_;
  Vec3 to_sun_;
};

}  // namespace render
