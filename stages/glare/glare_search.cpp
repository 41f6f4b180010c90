#include "stages/glare/glare_search.h"

#include "stages/glare/water/usual_look.h"

namespace lookdown::glare {

SearchResult search_picture(const WorkingPicture& picture, const GlintPrior& prior) {
  // With all of its weight grey roofs of real pictures are water, and lakes that glitter are not.
  constexpr double kOfUsual = 0.6;
  SearchResult result;
  const SurfaceLook look = surface_look(picture);
  const GlitterTiles tiles = glitter_tiles(picture.bgr, picture.calm_bgr.size());
  const SeenPatches seen = seen_patches(picture, look);
  // Colour tells water from land, but where it is that of water which glitters.
  result.water_log_odds =
      water_cues(look).with_colour_doubted(like_glittering_water(tiles, look.colour)).log_odds() +
      kOfUsual * usual_log_odds(seen);
  result.water = water_mask(look, result.water_log_odds);
  result.water_leaving = water_leaving_luminance(picture.calm_bgr, result.water);
  result.glint = find_glint(picture, {result.water, result.water_leaving, tiles, seen.patches}, prior);
  result.water |= result.glint.field;
  return result;
}

}  // namespace lookdown::glare
