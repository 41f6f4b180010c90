#include "stages/glare/glare_search.h"

#include "stages/glare/water/usual_look.h"

namespace lookdown::glare {

SearchResult search_picture(const WorkingPicture& picture, const GlintPrior& prior) {
  SearchResult result;
  const SurfaceLook look = surface_look(picture);
  const GlitterTiles tiles = glitter_tiles(picture.bgr, picture.calm_bgr.size());
  const SeenPatches seen = seen_patches(picture, look);
  // Colour tells water from land, but where it is that of water which glitters, or of water that is usual.
  // What looks unlike usual water is less often water; what looks like it must be as even as water is
  // besides, or grey roofs in the shade are water.
  constexpr double kSurely = 2, kOfUnusual = 0.5;
  const cv::Mat usual = usual_log_odds(seen), glittering = like_glittering_water(tiles, look.colour);
  cv::Mat like = cv::min(cv::max(cv::Mat(usual / kSurely), 0), 1);
  if (!glittering.empty()) like = cv::max(like, glittering);
  result.water_log_odds =
      water_cues(look).with_colour_doubted(like).log_odds() + kOfUnusual * cv::min(usual, 0);
  result.water = water_mask(look, result.water_log_odds);
  result.water_leaving = water_leaving_luminance(picture.calm_bgr, result.water);
  result.glint = find_glint(picture, {result.water, result.water_leaving, tiles, seen.patches}, prior);
  result.water |= result.glint.field;
  return result;
}

}  // namespace lookdown::glare
