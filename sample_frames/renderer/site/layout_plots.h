// The kinds of plot that a site is made of.
#pragma once

#include "site/noise.h"
#include "site/site.h"

namespace render {

enum class PlotKind {
  settling_ponds,
  reed_beds,
  gravel_beds,
  shed_yard,
  roofs,
  containers,
  paved_court,
  crusted_gravel,
  creeks,
  open_water,
  salt_pans,
  fields,
  bushes
};

struct PlotArea {
  Vec2 low, high;
};

// Adds the patches and solids of one plot to the site.
void lay_out_plot(Site& site, PlotKind kind, PlotArea area, RandomStream& random);

// A vehicle track across the whole site near northing `y`.
void lay_track(Site& site, double y, RandomStream& random);

// True where neither water, reeds nor solids are within `clearance_m`.
bool is_open_ground(const Site& site, Vec2 at, double clearance_m);

}  // namespace render
