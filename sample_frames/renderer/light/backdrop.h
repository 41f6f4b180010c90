// The country around a site, out to the horizon: fields, woods, water, a town, hills.
#pragma once

#include <cstdint>

#include "geometry.h"

namespace render {

enum class Country : uint8_t { fields, woods, sea, coast, town, hills };
const char* name_of(Country country);

struct Backdrop {
  Country country = Country::fields;
  double hill_height_deg = 0;  // angular height of the highest far hills
  uint32_t seed = 1;
};

struct BackdropPoint {
  Rgb albedo;
  float water = 0;
};
BackdropPoint backdrop_at(const Backdrop& backdrop, Vec2 position, double footprint_m, double distance_m);

// Angular height (radians) of trees, roofs and hills above the true horizon towards `azimuth`, with how hazy
// they are.
struct Skyline {
  double trees, hills;
};
Skyline skyline_at(const Backdrop& backdrop, double azimuth);

}  // namespace render
