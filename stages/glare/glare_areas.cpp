#include <algorithm>
#include <array>
#include <opencv2/imgproc.hpp>

#include "stages/glare/added_light.h"
#include "stages/glare/boosted_trees.h"
#include "stages/glare/glare_search.h"
#include "stages/glare/glitter_field.h"

namespace lookdown::glare {
namespace {

AddedLight added_light(const WorkingPicture& picture, const cv::Mat& own_colour, const cv::Mat& texture) {
  AddedLight added;
  added.light = picture.light;
  cv::transform(own_colour, added.base, cv::Matx13f(0.0722f, 0.7152f, 0.2126f));
  added.colour = odds_of_colour(picture.linear - own_colour);
  // Glint is thin, so what stays bright when thin things are taken away is bottom, crust or a board.
  cv::Mat(cv::max(added.base, picture.calm_light)).copyTo(added.base, ~texture);
  return added;
}

// Smooth: an eighth of the size holds it.
cv::Mat as_stored(const cv::Mat& linear) {
  constexpr int kShrink = 8;
  cv::Mat small;
  cv::resize(linear, small, {std::max(1, linear.cols / kShrink), std::max(1, linear.rows / kShrink)}, 0, 0,
             cv::INTER_AREA);
  std::array<cv::Mat, 3> channels;
  cv::split(small, channels.data());
  for (cv::Mat& channel : channels) channel = stored_brightness(channel);
  cv::Mat stored;
  cv::merge(channels.data(), channels.size(), stored);
  return stored;
}

cv::Mat shrunk(const cv::Mat& plane, int factor) {
  cv::Mat small;
  cv::resize(plane, small, {std::max(1, plane.cols / factor), std::max(1, plane.rows / factor)}, 0, 0,
             cv::INTER_AREA);
  return small;
}

// The midst of a field can be one clipped place without texture, and looks like no water.
void fill_midst(const cv::Mat& light, SearchResult& result) {
  constexpr float kNearWhite = 0.6f;
  constexpr int kGapPx = 9;  // dark water between specks
  const cv::Mat found = result.glare > 0.5f;
  cv::Mat field;
  cv::morphologyEx(found, field, cv::MORPH_CLOSE,
                   cv::getStructuringElement(cv::MORPH_ELLIPSE, {kGapPx, kGapPx}));
  const cv::Mat midst = enclosed_by(field, (light > kNearWhite) & ~found);
  result.water.setTo(0.9f, midst);
  result.glare.setTo(0.9f, midst);
  cv::Mat(cv::min(result.limit, 160)).copyTo(result.limit, midst);
}

}  // namespace

SearchResult search_picture(const cv::Mat& bgr, const GlintPrior& prior) {
  const WorkingPicture picture = prepare(bgr);
  SearchResult result;
  result.water = water_chance(picture);
  const OwnColour colours = own_colour(picture, result.water);
  result.dark = as_stored(colours.near);
  const cv::Mat own = colours.wide, place = odds_of_place(prior, picture.light.size());
  // From near by, facets are large: the same search goes over smaller copies. The larger its specks, the more
  // of them are boards and flecks.
  struct Scale {
    int factor;
    double ordinary_share;
    double least_roughness;
  };
  for (const auto& [factor, ordinary_share, least_roughness] :
       {Scale{1, 0.015, 0.35}, Scale{2, 0.05, 0.28}, Scale{4, 0.08, 0.28}}) {
    const WorkingPicture copy = factor == 1 ? picture : prepare(shrunk(picture.bgr, factor));
    const cv::Mat water = shrunk(result.water, factor), texture = glitter_texture(copy, least_roughness);
    AddedLight added = added_light(copy, shrunk(own, factor), texture);
    cv::Mat specks = specks_on_water(copy, added, water);
    // A facet wide enough to be seen as such shows the sun itself, and no exposure holds that.
    constexpr float kClipped = 0.92f;
    if (factor > 1)
      specks = (specks | (texture & (strong_light(added) & (water > 0.5f)))) & (copy.light > kClipped);
    const GlintPrior field = glitter_field(specks, water, ordinary_share);
    added.light = picture.light;
    for (cv::Mat* plane : {&added.base, &added.colour})
      cv::resize(*plane, *plane, picture.light.size(), 0, 0, cv::INTER_LINEAR);
    const cv::Mat odds = added.colour + odds_of_place(field, picture.light.size()) + place;
    const cv::Mat limit = brightness_limit(added.base, odds), glare = chance_of(odds_of_excess(added, odds));
    if (factor == 1) {
      result.limit = limit;
      result.base = added.base;
      result.glare = glare;
    } else {
      const cv::Mat better = limit < result.limit;
      limit.copyTo(result.limit, better);
      added.base.copyTo(result.base, better);
      glare.copyTo(result.glare, better);
    }
  }
  result.glare.setTo(0, result.water < 0.5f);
  fill_midst(picture.light, result);
  return result;
}

}  // namespace lookdown::glare
