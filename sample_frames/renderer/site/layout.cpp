// Layouts of the invented scenes: a site is a grid of plots, each laid out by kind; paths and tracks run
// between.
#include <fmt/format.h>

#include <algorithm>
#include <stdexcept>

#include "site/layout_plots.h"

namespace render {
namespace {

constexpr double kPlotLength = 46, kPlotWidth = 32;

struct SceneRecipe {
  std::string name;
  Material base;
  std::vector<PlotKind> plots;  // repeated over the grid
};

const std::vector<SceneRecipe>& recipes() {
  using enum PlotKind;
  static const std::vector<SceneRecipe> all = {
      {"works", Material::meadow, {settling_ponds, reed_beds, gravel_beds, shed_yard}},
      {"yard", Material::asphalt, {roofs, containers, roofs, paved_court}},
      {"gravel", Material::gravel, {crusted_gravel, gravel_beds, crusted_gravel}},
      {"marsh", Material::reed, {creeks, open_water, creeks}},
      {"pans", Material::sand, {salt_pans, salt_pans, settling_ponds}},
      {"meadow", Material::meadow, {fields, bushes, fields}},
      {"shore", Material::meadow, {open_water, bushes, roofs}},
  };
  return all;
}

void place_boards(Site& site, RandomStream& random) {
  const Vec2 size = site.high - site.low;
  const Vec2 wanted[] = {{0.14, 0.16}, {0.86, 0.2}, {0.82, 0.84}, {0.17, 0.8}};
  int number = 1;
  for (const Vec2 share : wanted) {
    Board board;
    board.name = fmt::format("B{}", number++);
    // A board lies where one would put it: on dry open ground, clear of water and buildings.
    for (int attempt = 0; attempt < 200; ++attempt) {
      const double reach = 1.0 + 0.15 * attempt;
      board.centre = {site.low.x + share.x * size.x + random.uniform(-reach, reach),
                      site.low.y + share.y * size.y + random.uniform(-reach, reach)};
      if (is_open_ground(site, board.centre, 1.2)) break;
    }
    board.heading = random.uniform(0, 2 * kPi);
    site.boards.push_back(board);
  }
}

}  // namespace

const std::vector<std::string>& scene_names() {
  static const std::vector<std::string> names = [] {
    std::vector<std::string> list;
    for (const SceneRecipe& recipe : recipes()) list.push_back(recipe.name);
    return list;
  }();
  return names;
}

bool is_open_ground(const Site& site, Vec2 at, double clearance_m) {
  for (const Patch& patch : site.patches)
    if (patch.pond >= 0 || patch.material == Material::reed)
      if (distance_to_edge(patch, at).signed_m < clearance_m) return false;
  for (const Block& block : site.blocks)
    if (length(at - block.centre) < std::hypot(block.half_length_m, block.half_width_m) + clearance_m + 2)
      return false;
  for (const Blob& blob : site.blobs)
    if (length(at - Vec2{blob.centre.x, blob.centre.y}) < blob.radius_m + clearance_m) return false;
  return true;
}

Site build_site(const std::string& scene, uint32_t seed, double area_m2) {
  const auto recipe =
      std::find_if(recipes().begin(), recipes().end(), [&](const SceneRecipe& r) { return r.name == scene; });
  if (recipe == recipes().end()) throw std::invalid_argument("no scene named '" + scene + "'");

  RandomStream random(seed, hash(uint32_t(scene[0]), uint32_t(scene[1])));
  const double columns_wanted =
      std::sqrt(area_m2 / (kPlotLength * kPlotWidth) * kPlotWidth / kPlotLength * 1.4);
  const int columns = std::max(2, static_cast<int>(std::lround(columns_wanted)));
  const int rows = std::max(2, static_cast<int>(std::lround(area_m2 / (kPlotLength * kPlotWidth) / columns)));
  Site site;
  site.scene = scene;
  site.seed = seed;
  site.base = recipe->base;
  site.low = {0, 0};
  site.high = {columns * kPlotLength, rows * kPlotWidth};
  const auto tone = [&] { return static_cast<float>(random.uniform(0.85, 1.18)); };
  site.base_tint = {tone(), tone(), tone()};

  int index = random.integer(0, static_cast<int>(recipe->plots.size()) - 1);
  for (int row = 0; row < rows; ++row)
    for (int column = 0; column < columns; ++column) {
      const Vec2 low{column * kPlotLength, row * kPlotWidth};
      lay_out_plot(site, recipe->plots[size_t(index++) % recipe->plots.size()],
                   {low, {low.x + kPlotLength, low.y + kPlotWidth}}, random);
    }
  const bool has_tracks = scene != "marsh" && scene != "shore";
  if (has_tracks)
    for (int row = 1; row < rows; ++row) lay_track(site, row * kPlotWidth, random);
  place_boards(site, random);
  return site;
}

}  // namespace render
