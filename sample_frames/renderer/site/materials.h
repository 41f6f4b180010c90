// Surface colours: linear-light diffuse albedo of each material at a point, with detail down to a few
// millimetres.
#pragma once

#include "site/site.h"

namespace render {

struct MaterialPoint {
  Rgb albedo;
  float crust = 0;  // share that is white mineral crust
};

// `along_m`/`across_m` are the strip coordinates (0 without a
// strip).
MaterialPoint material_at(Material material, double x, double y, double along_m, double across_m,
                          uint32_t seed);

// Grass seen from a metre or so: single blades, lit and shaded. For footprints of a few millimetres and less.
Rgb close_grass(double x, double y, uint32_t seed);

// Roof or wall of a block at face coordinates u, v in metres; `footprint_m` fades what a pixel cannot
// resolve.
Rgb roof_albedo(const Block& block, double u, double v, double footprint_m);
Rgb wall_albedo(const Block& block, double u, double height_m, double footprint_m);

}  // namespace render
