#include "stages/glare/glare_search.h"

#include "stages/glare/water/usual_look.h"

namespace lookdown::glare {

SearchResult search_picture(const WorkingPicture& picture, const GlintPrior& prior) {
  SearchResult result;
  const SurfaceLook look = surface_look(picture);
  const UsualLook usual = usual_look(picture);
  const Patches patches = patches_of(look.lab);
  result.water_log_odds =
      water_cues(look).with_colour_doubted(usual.likeness()).log_odds() + usual.evidence();
  result.water = water_mask(look, result.water_log_odds);
  result.water_leaving = water_leaving_luminance(picture.calm_bgr, result.water);
  result.glint = find_glint(
      picture,
      {result.water, result.water_leaving, usual, patches, [&] { return looks_of(picture, look, patches); }},
      prior);
  result.water |= result.glint.field;
  return result;
}

}  // namespace lookdown::glare
