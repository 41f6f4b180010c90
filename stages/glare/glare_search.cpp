#include "stages/glare/glare_search.h"

namespace lookdown::glare {

SearchResult search_picture(const WorkingPicture& picture, const GlintPrior& prior) {
  SearchResult result;
  const SurfaceLook look = surface_look(picture);
  const GlitterTiles tiles = glitter_tiles(picture.bgr, picture.calm_bgr.size());
  // Colour tells water from land, but where it is that of water which glitters.
  result.water_log_odds =
      water_cues(look).with_colour_doubted(like_glittering_water(tiles, look.colour)).log_odds();
  result.water = water_mask(look, result.water_log_odds);
  result.water_leaving = water_leaving_luminance(picture.calm_bgr, result.water);
  result.glint = find_glint(picture, {result.water, result.water_leaving, tiles}, prior);
  result.water |= result.glint.field;
  return result;
}

}  // namespace lookdown::glare
