#include "stages/glare/glare_search.h"

#include "stages/glare/water/usual_look.h"

namespace lookdown::glare {

SearchResult search_picture(const WorkingPicture& picture, const GlintPrior& prior) {
  SearchResult result;
  const SurfaceLook look = surface_look(picture);
  const UsualLook usual = usual_look(picture);
  const Patches patches = patches_of(look.lab);
  // Colour tells water from land, but where it is that of water which glitters. Against what is unlike usual
  // water its look says more than for what is like it: a lawn in the shade is like it, too.
  constexpr double kOfUnusual = 0.7, kOfUsual = 0.2;
  result.water_log_odds =
      water_cues(look).with_colour_doubted(like_glittering_water(usual.tiles, look.colour)).log_odds() +
      kOfUnusual * cv::min(usual.water, 0) + kOfUsual * cv::max(usual.water, 0);
  result.water = water_mask(look, result.water_log_odds);
  result.water_leaving = water_leaving_luminance(picture.calm_bgr, result.water);
  result.glint = find_glint(picture, {result.water, result.water_leaving, usual, patches}, prior);
  result.water |= result.glint.field;
  return result;
}

}  // namespace lookdown::glare
