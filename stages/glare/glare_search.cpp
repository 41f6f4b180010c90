#include "stages/glare/glare_search.h"

namespace lookdown::glare {

SearchResult search_picture(const WorkingPicture& picture, const GlintPrior& prior) {
  SearchResult result;
  result.water_log_odds = water_cues(picture).log_odds();
  result.water = water_mask(picture, result.water_log_odds);
  result.water_leaving = water_leaving_luminance(picture.calm_bgr, result.water);
  result.glint = find_glint(picture, {result.water, result.water_leaving}, prior);
  result.water |= result.glint.field;
  return result;
}

}  // namespace lookdown::glare
