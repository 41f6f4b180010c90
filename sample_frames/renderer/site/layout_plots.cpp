#include "site/layout_plots.h"

#include <algorithm>

namespace render {
namespace {

std::vector<Vec2> rectangle(Vec2 centre, double half_length, double half_width, double heading, double jitter,
                            RandomStream& random) {
  std::vector<Vec2> corners;
  const double c = std::cos(heading), s = std::sin(heading);
  for (const auto& [u, v] : {std::pair{-1, -1}, {1, -1}, {1, 1}, {-1, 1}}) {
    const double x = u * half_length + random.uniform(-jitter, jitter);
    const double y = v * half_width + random.uniform(-jitter, jitter);
    corners.push_back({centre.x + c * x - s * y, centre.y + s * x + c * y});
  }
  return corners;
}

std::vector<Vec2> blob_outline(Vec2 centre, double radius_x, double radius_y, RandomStream& random) {
  std::vector<Vec2> points;
  constexpr int kCount = 18;
  const double phase = random.uniform(0, 6), second = random.uniform(0, 6);
  for (int i = 0; i < kCount; ++i) {
    const double angle = 2 * kPi * i / kCount;
    const double r = 1 + 0.22 * std::sin(2 * angle + phase) + 0.14 * std::sin(3 * angle + second);
    points.push_back({centre.x + radius_x * r * std::cos(angle), centre.y + radius_y * r * std::sin(angle)});
  }
  return points;
}

Vec2 middle(PlotArea a) {
  return (a.low + a.high) * 0.5;
}

Patch patch_of(Material material, std::vector<Vec2> points, RandomStream& random, double wobble = 0.3) {
  Patch patch;
  patch.material = material;
  patch.points = std::move(points);
  patch.wobble_m = wobble;
  patch.seed = random.bits();
  const auto tone = [&] { return static_cast<float>(random.uniform(0.9, 1.1)); };
  patch.tint = Rgb{tone(), tone(), tone()};
  return patch;
}

Pond pond_of_colour(int colour, RandomStream& random) {
  static const Pond kinds[] = {
      {{1.6F, 0.9F, 1.2F}, {0.030F, 0.075F, 0.050F}, 1.4, 0.5, 1, 0.2},  // green
      {{2.2F, 2.6F, 3.6F}, {0.105F, 0.072F, 0.035F}, 1.2, 0.6, 1, 0.5},  // brown, silty
      {{2.6F, 1.3F, 0.9F}, {0.018F, 0.045F, 0.060F}, 1.6, 0.5, 1, 0.1},  // blue-green, clear
      {{1.2F, 2.4F, 2.9F}, {0.160F, 0.070F, 0.050F}, 0.7, 0.3, 1, 0.4},  // reddish brine
      {{3.0F, 3.0F, 3.4F}, {0.016F, 0.017F, 0.014F}, 1.5, 0.7, 1, 0.1},  // dark, peaty
      {{1.0F, 0.5F, 0.55F}, {0.10F, 0.17F, 0.16F}, 0.6, 0.25, 1, 0.2},   // milky turquoise
  };
  Pond pond = kinds[colour % 6];
  pond.shelter = random.uniform(0.6, 1.2);
  return pond;
}

void add_water(Site& site, std::vector<Vec2> outline, int colour, double wobble, double slope,
               RandomStream& random) {
  Pond pond = pond_of_colour(colour, random);
  if (slope > 0) pond.bank_slope = slope;
  Patch water = patch_of(Material::pond_bottom, std::move(outline), random, wobble);
  water.pond = static_cast<int>(site.ponds.size());
  water.softness_m = 0.02;
  site.ponds.push_back(pond);
  site.patches.push_back(water);
}

// The bank around water: grown copies of its outline below it, from the outside inward.
void add_rim(Site& site, const std::vector<Vec2>& outline, Material material, double grow, double wobble,
             double sparseness, RandomStream& random) {
  Patch rim = patch_of(material, outline, random, wobble);
  rim.grow_m = grow;
  rim.sparseness = sparseness;
  rim.softness_m = 0.08;
  site.patches.push_back(rim);
}

void add_bush(Site& site, Vec2 at, double radius, RandomStream& random) {
  const Rgb leaf =
      mix(Rgb{0.05F, 0.10F, 0.025F}, Rgb{0.13F, 0.16F, 0.05F}, static_cast<float>(random.uniform()));
  const int lobes = 3 + random.integer(0, 3);
  for (int i = 0; i < lobes; ++i) {
    Blob blob;
    blob.radius_m = radius * random.uniform(0.5, 0.8);
    blob.half_height_m = blob.radius_m * random.uniform(0.6, 0.9);
    blob.centre = {at.x + random.uniform(-0.5, 0.5) * radius, at.y + random.uniform(-0.5, 0.5) * radius,
                   blob.half_height_m * random.uniform(0.5, 0.9)};
    blob.albedo = leaf * static_cast<float>(random.uniform(0.8, 1.2));
    blob.seed = random.bits();
    site.blobs.push_back(blob);
  }
}

Block& add_block(Site& site, Vec2 centre, double half_length, double half_width, double height,
                 double heading, Roof roof, RandomStream& random) {
  static const Rgb colours[] = {{0.55F, 0.55F, 0.54F}, {0.30F, 0.34F, 0.36F}, {0.34F, 0.12F, 0.08F},
                                {0.16F, 0.26F, 0.20F}, {0.66F, 0.64F, 0.60F}, {0.15F, 0.22F, 0.36F}};
  Block block;
  block.centre = centre;
  block.half_length_m = half_length;
  block.half_width_m = half_width;
  block.height_m = height;
  block.heading = heading;
  block.roof = roof;
  block.roof_albedo = colours[random.integer(0, 5)] * static_cast<float>(random.uniform(0.8, 1.1));
  block.wall_albedo = mix(block.roof_albedo, Rgb{0.5F, 0.47F, 0.42F}, 0.6F);
  block.seed = random.bits();
  site.blocks.push_back(block);
  return site.blocks.back();
}

void settling_ponds(Site& site, PlotArea area, RandomStream& random) {
  const int first = random.integer(0, 5);
  for (int i = 0; i < 3; ++i) {
    const Vec2 centre{area.low.x + 8.5 + 14.2 * i, middle(area).y + random.uniform(-1, 1)};
    const auto outline = rectangle(centre, 5.2, 10.5, random.uniform(-0.06, 0.06), 0.8, random);
    add_rim(site, outline, Material::grass, 2.0, 0.4, 0, random);
    add_rim(site, outline, Material::soil, 0.8, 0.35, 0, random);
    add_rim(site, outline, i == 1 ? Material::crust : Material::rock, 0.35, 0.25, i == 1 ? 0.25 : 0.4,
            random);
    add_water(site, outline, first + i * (1 + first % 2), 0.22, 0, random);
    site.ponds.back().foam = random.uniform(0.1, 0.8);
  }
  add_bush(site, {area.low.x + random.uniform(1, 45), area.high.y - 2.5}, 1.1, random);
}

// A white boat at rest and a white-roofed hut on the bank: bright, and no glare.
void add_white_things(Site& site, Vec2 on_water, Vec2 on_land, RandomStream& random) {
  Block& boat = add_block(site, on_water, random.uniform(1.5, 2.4), random.uniform(0.5, 0.8), 0.6,
                          random.uniform(0, 3), Roof::plain, random);
  boat.roof_albedo = Rgb{0.78F, 0.78F, 0.76F} * static_cast<float>(random.uniform(0.85, 1.05));
  Block& hut = add_block(site, on_land, random.uniform(1.3, 2.2), random.uniform(1.1, 1.6),
                         random.uniform(2.2, 3), random.uniform(0, 1.5), Roof::ribbed, random);
  hut.roof_albedo = {0.80F, 0.80F, 0.79F};
}

void reed_beds(Site& site, PlotArea area, RandomStream& random) {
  for (int i = 0; i < 2; ++i) {
    const Vec2 centre{middle(area).x, area.low.y + 9 + 14 * i};
    const auto outline = rectangle(centre, 18.5, 5.2, random.uniform(-0.04, 0.04), 0.7, random);
    add_rim(site, outline, Material::soil, 0.7, 0.3, 0, random);
    site.patches.push_back(patch_of(Material::reed, outline, random, 0.35));
    const auto pool = blob_outline({centre.x + random.uniform(-12, 12), centre.y}, 2.6, 1.6, random);
    add_water(site, pool, random.integer(0, 5), 0.4, 0.4, random);
  }
  Patch walk = patch_of(Material::boardwalk,
                        {{area.low.x + 2, area.low.y + 16}, {area.high.x - 3, area.low.y + 16.4}}, random, 0);
  walk.half_width_m = 0.7;
  walk.softness_m = 0.01;
  site.patches.push_back(walk);
  add_bush(site, {area.high.x - 1.5, area.low.y + 3}, 1.3, random);
}

void gravel_beds(Site& site, PlotArea area, RandomStream& random) {
  for (int i = 0; i < 3; ++i) {
    const Vec2 centre{area.low.x + 8.5 + 14.4 * i, middle(area).y};
    const auto outline = rectangle(centre, 6.1, 12, random.uniform(-0.03, 0.03), 0.4, random);
    add_rim(site, outline, Material::concrete, 0.3, 0, 0, random);
    site.patches.push_back(patch_of(Material::gravel, outline, random, 0.05));
    for (int k = 0; k < 2; ++k) {
      const auto spot = blob_outline({centre.x + random.uniform(-2.5, 2.5), centre.y + random.uniform(-8, 8)},
                                     random.uniform(1.5, 3), random.uniform(2, 4), random);
      Patch crust = patch_of(Material::crust, spot, random, 1.1);
      crust.sparseness = 0.35;
      site.patches.push_back(crust);
    }
    Patch tufts = patch_of(Material::grass, outline, random, 0.1);
    tufts.sparseness = 0.8;
    site.patches.push_back(tufts);
  }
}

void add_hut(Site& site, Vec2 at, RandomStream& random) {
  add_block(site, at, random.uniform(1.2, 2), random.uniform(1, 1.4), random.uniform(2, 2.6),
            random.uniform(0, 1.5), Roof::bitumen, random);
}

void shed_yard(Site& site, PlotArea area, RandomStream& random) {
  const auto court = rectangle(middle(area), 20.5, 12, 0, 0.3, random);
  site.patches.push_back(patch_of(Material::concrete, court, random, 0.1));
  const auto paved = rectangle({middle(area).x, area.low.y + 7.5}, 17, 2.6, 0, 0, random);
  site.patches.push_back(patch_of(Material::paving, paved, random, 0));
  Block& shed =
      add_block(site, {middle(area).x + 1, middle(area).y + 2.5}, 15, 4.6, 5.0, 0.035, Roof::ribbed, random);
  shed.roof_albedo = {0.46F, 0.47F, 0.47F};
  add_hut(site, {area.low.x + 4, area.low.y + 9}, random);
  add_bush(site, {area.high.x - 2, area.low.y + 5}, 1.2, random);
}

void roofs(Site& site, PlotArea area, RandomStream& random) {
  const Roof kinds[] = {Roof::ribbed, Roof::tiles, Roof::bitumen, Roof::plain};
  for (int i = 0; i < 3; ++i) {
    const Vec2 at{area.low.x + 8 + 15 * i, middle(area).y + random.uniform(-4, 4)};
    add_block(site, at, random.uniform(4, 6.2), random.uniform(4, 9), random.uniform(2.5, 8.5),
              random.uniform(-0.2, 0.2), kinds[random.integer(0, 3)], random);
  }
  const auto lawn = blob_outline({area.low.x + 23, area.low.y + 4}, 16, 2.5, random);
  site.patches.push_back(patch_of(Material::grass, lawn, random, 0.4));
  add_bush(site, {area.low.x + 15.6, area.low.y + 4}, 1.6, random);
}

void containers(Site& site, PlotArea area, RandomStream& random) {
  site.patches.push_back(
      patch_of(Material::concrete, rectangle(middle(area), 21, 13.5, 0, 0.3, random), random, 0.1));
  for (int row = 0; row < 3; ++row)
    for (int i = 0; i < 5; ++i) {
      if (random.uniform() < 0.3) continue;
      const Vec2 at{area.low.x + 7 + 7.6 * i + random.uniform(-0.3, 0.3),
                    area.low.y + 7 + 8 * row + random.uniform(-1, 1)};
      add_block(site, at, 3.03, 1.22, random.uniform() < 0.25 ? 5.18 : 2.59, random.uniform(-0.08, 0.08),
                Roof::container, random);
    }
}

void paved_court(Site& site, PlotArea area, RandomStream& random) {
  site.patches.push_back(
      patch_of(Material::paving, rectangle(middle(area), 20, 13, 0.05, 0.3, random), random, 0));
  for (int i = 0; i < 3; ++i) {
    const Vec2 at{area.low.x + 9 + 14 * i, middle(area).y + random.uniform(-6, 6)};
    site.patches.push_back(patch_of(Material::soil, blob_outline(at, 1.5, 1.5, random), random, 0.1));
    add_bush(site, at, 1.5, random);
  }
  add_water(site, rectangle({middle(area).x, middle(area).y + 8}, 5, 2.2, 0.05, 0, random), 2, 0, 2, random);
}

void crusted_gravel(Site& site, PlotArea area, RandomStream& random) {
  for (int i = 0; i < 4; ++i) {
    const Vec2 at{random.uniform(area.low.x + 5, area.high.x - 5),
                  random.uniform(area.low.y + 4, area.high.y - 4)};
    Patch crust = patch_of(Material::crust,
                           blob_outline(at, random.uniform(3, 8), random.uniform(2, 6), random), random, 1.6);
    crust.sparseness = random.uniform(0.1, 0.5);
    site.patches.push_back(crust);
  }
  Patch tufts = patch_of(Material::grass, rectangle(middle(area), 22, 15, 0, 1, random), random, 0.5);
  tufts.sparseness = 0.86;
  site.patches.push_back(tufts);
  if (random.uniform() < 0.5) {
    const auto puddle = blob_outline(middle(area), 3, 2, random);
    add_rim(site, puddle, Material::crust, 0.9, 0.5, 0.15, random);
    add_water(site, puddle, 5, 0.5, 0.15, random);
  }
}

void creeks(Site& site, PlotArea area, RandomStream& random) {
  std::vector<Vec2> line;
  for (int i = 0; i <= 8; ++i)
    line.push_back({area.low.x + (area.high.x - area.low.x) * i / 8, middle(area).y + random.uniform(-9, 9)});
  Patch mud = patch_of(Material::soil, line, random, 0.6);
  mud.half_width_m = 2.6;
  site.patches.push_back(mud);
  add_water(site, line, random.integer(0, 1) * 4, 0.5, 0.5, random);
  site.patches.back().half_width_m = 1.6;
  Patch meadow =
      patch_of(Material::grass, blob_outline({area.low.x + 12, area.low.y + 5}, 9, 4, random), random, 1.5);
  site.patches.insert(site.patches.begin(), meadow);
  add_bush(site, {area.low.x + random.uniform(4, 40), area.high.y - 3}, 1.8, random);
}

void open_water(Site& site, PlotArea area, RandomStream& random) {
  const auto outline = blob_outline(middle(area), 15, 9.5, random);
  add_rim(site, outline, Material::sand, 1.2, 0.8, 0.1, random);
  add_water(site, outline, random.integer(0, 4), 0.7, 0.25, random);
  site.ponds.back().foam = random.uniform(0, 0.6);
  add_white_things(site, {middle(area).x - 5, middle(area).y + 2}, {area.low.x + 3, area.low.y + 3}, random);
  Patch island = patch_of(Material::reed,
                          blob_outline({middle(area).x + 5, middle(area).y}, 2.6, 1.8, random), random, 0.5);
  site.patches.push_back(island);
}

void salt_pans(Site& site, PlotArea area, RandomStream& random) {
  for (int row = 0; row < 2; ++row)
    for (int i = 0; i < 3; ++i) {
      const Vec2 at{area.low.x + 8 + 15 * i, area.low.y + 8.5 + 15.5 * row};
      const auto outline = rectangle(at, 6.2, 6, random.uniform(-0.04, 0.04), 0.5, random);
      add_rim(site, outline, Material::soil, 1.0, 0.2, 0, random);
      add_rim(site, outline, Material::crust, 0.55, 0.35, 0.1, random);
      add_water(site, outline, random.uniform() < 0.5 ? 3 : random.integer(0, 5), 0.45, 0.12, random);
      site.ponds.back().max_depth_m = random.uniform(0.1, 0.5);
      site.ponds.back().foam = random.uniform(0, 1);
    }
  add_white_things(site, {area.low.x + 23 + random.uniform(-2, 2), area.low.y + 8 + random.uniform(-2, 2)},
                   {area.low.x + 45, area.low.y + 16}, random);
}

void fields(Site& site, PlotArea area, RandomStream& random) {
  const Material kinds[] = {Material::grass, Material::soil, Material::meadow, Material::reed};
  for (int i = 0; i < 2; ++i)
    site.patches.push_back(patch_of(
        kinds[random.integer(0, 3)],
        rectangle({area.low.x + 11.5 + 23 * i, middle(area).y}, 11.2, 15, 0.03, 0.8, random), random, 0.5));
}

void bushes(Site& site, PlotArea area, RandomStream& random) {
  for (int i = 0; i < 9; ++i)
    add_bush(site, {random.uniform(area.low.x, area.high.x), random.uniform(area.low.y, area.high.y)},
             random.uniform(0.7, 2.2), random);
}

}  // namespace

void lay_out_plot(Site& site, PlotKind kind, PlotArea area, RandomStream& random) {
  switch (kind) {
    case PlotKind::settling_ponds:
      return settling_ponds(site, area, random);
    case PlotKind::reed_beds:
      return reed_beds(site, area, random);
    case PlotKind::gravel_beds:
      return gravel_beds(site, area, random);
    case PlotKind::shed_yard:
      return shed_yard(site, area, random);
    case PlotKind::roofs:
      return roofs(site, area, random);
    case PlotKind::containers:
      return containers(site, area, random);
    case PlotKind::paved_court:
      return paved_court(site, area, random);
    case PlotKind::crusted_gravel:
      return crusted_gravel(site, area, random);
    case PlotKind::creeks:
      return creeks(site, area, random);
    case PlotKind::open_water:
      return open_water(site, area, random);
    case PlotKind::salt_pans:
      return salt_pans(site, area, random);
    case PlotKind::fields:
      return fields(site, area, random);
    case PlotKind::bushes:
      return bushes(site, area, random);
  }
}

void lay_track(Site& site, double y, RandomStream& random) {
  std::vector<Vec2> line;
  for (double x = site.low.x - 30; x <= site.high.x + 30; x += 18)
    line.push_back({x, y + random.uniform(-0.7, 0.7)});
  Patch track;
  track.material = Material::track;
  track.points = line;
  track.half_width_m = 1.5;
  track.wobble_m = 0.3;
  track.softness_m = 0.15;
  track.seed = random.bits();
  site.patches.insert(site.patches.begin(), track);
}

}  // namespace render
