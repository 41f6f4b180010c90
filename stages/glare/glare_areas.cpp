#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>

#include "stages/glare/boosted_trees.h"
#include "stages/glare/glare_search.h"
#include "stages/glare/plane_math.h"

namespace lookdown::glare {
namespace {

// Dichromatic reasoning (Shafer, Color Research & Application 10:210, 1985): seen = own colour + what the surface adds, and what it
// adds has the colour of its source, so that all channels gain about alike and the mixture is paler than the water.
struct Added {
  cv::Mat least;     // smallest gain of a channel, linear light
  cv::Mat ratio;     // log of light over own light
  cv::Mat neutral;   // smallest over largest gain, -1..1
  cv::Mat paler;     // saturation of the water minus saturation seen
  cv::Mat pale;      // saturation seen
  cv::Mat own_light;
};

float saturation_of(const cv::Vec3f& c) {
  const float most = std::max({c[0], c[1], c[2]}), least = std::min({c[0], c[1], c[2]});
  return (most - least) / (most + 0.01f);
}

Added added_light(const WorkingPicture& picture, const cv::Mat& own) {
  const cv::Size size = picture.light.size();
  Added a;
  for (cv::Mat* plane : {&a.least, &a.ratio, &a.neutral, &a.paler, &a.pale, &a.own_light}) plane->create(size, CV_32FC1);
  for (int y = 0; y < size.height; ++y)
    for (int x = 0; x < size.width; ++x) {
      const cv::Vec3f seen = picture.linear.at<cv::Vec3f>(y, x), below = own.at<cv::Vec3f>(y, x);
      const cv::Vec3f gain = seen - below;
      const float least = std::min({gain[0], gain[1], gain[2]}), most = std::max({gain[0], gain[1], gain[2]});
      const float own_light = 0.0722f * below[0] + 0.7152f * below[1] + 0.2126f * below[2];
      a.least.at<float>(y, x) = least;
      a.ratio.at<float>(y, x) = std::log((picture.light.at<float>(y, x) + 0.004f) / (own_light + 0.004f));
      a.neutral.at<float>(y, x) = std::clamp(least / std::max(most, 0.004f), -1.0f, 1.0f);
      a.pale.at<float>(y, x) = saturation_of(seen);
      a.paler.at<float>(y, x) = saturation_of(below) - a.pale.at<float>(y, x);
      a.own_light.at<float>(y, x) = own_light;
    }
  return a;
}

cv::Mat expected_glint(const GlintPrior& prior, cv::Size size) {
  if (prior.chance.empty()) return {};
  cv::Mat stretched;
  cv::resize(prior.chance, stretched, size, 0, 0, cv::INTER_LINEAR);
  return stretched;
}

}  // namespace

FeaturePlanes glare_features(const WorkingPicture& picture, const cv::Mat& water) {
  FeaturePlanes features;
  auto& planes = features.planes;
  const Added added = added_light(picture, own_colour(picture, water));
  const cv::Mat light = log_of(picture.light), calm = log_of(picture.calm_light), own = log_of(added.own_light);
  planes = {light, added.ratio, added.least, added.neutral, added.pale, added.paler};
  planes.push_back(light - quantile_of(light, 0.5));
  for (const double scale_px : {2.0, 6.0, 16.0, 40.0}) planes.push_back(light - blurred(light, scale_px));  // local contrast
  planes.push_back(calm - own);                          // broad glint and veil
  planes.push_back(blurred(added.ratio, 5));
  planes.push_back(blurred(added.ratio, 24));
  cv::Mat strong = cv::Mat(added.ratio > 0.7f);
  strong.convertTo(strong, CV_32FC1, 1 / 255.0);
  planes.push_back(blurred(strong, 12));                 // glitter comes in fields
  planes.push_back(detail(light, blurred(light, 1.5), 5));
  planes.push_back(detail(calm, blurred(calm, 4), 10));
  planes.push_back(water);
  for (const double around_px : {6.0, 20.0, 60.0}) planes.push_back(blurred(water, around_px));
  cv::Mat least;
  cv::erode(blurred(water, 3), least, cv::getStructuringElement(cv::MORPH_RECT, {31, 31}));
  planes.push_back(blurred(least, 8));                   // well inside the water
  cv::Mat clipped = cv::Mat(picture.light > 0.93f);
  clipped.convertTo(clipped, CV_32FC1, 1 / 255.0);
  planes.push_back(blurred(clipped, 3));
  return features;
}

cv::Mat glare_chance(const WorkingPicture& picture, const cv::Mat& water, const GlintPrior& prior) {
  const FeaturePlanes features = glare_features(picture, water);
  const cv::Mat asked = water > kLeastWaterChance;
  cv::Mat odds = log_odds(glare_model(), features, asked);
  const cv::Mat expected = expected_glint(prior, water.size());
  if (!expected.empty()) {
    // Where no facet can mirror the sun only the sky is left, which seldom hides the water: odds of e^1.5 against.
    cv::Mat impossible = cv::Mat(expected < 1e-3f);
    impossible.convertTo(impossible, CV_32FC1, 1.5 / 255.0);
    odds -= impossible;
  }
  cv::Mat chance = chance_of(odds);
  chance.setTo(0, ~asked);
  return chance;
}

SearchResult search_picture(const cv::Mat& bgr, const GlintPrior& prior) {
  SearchResult result;
  const WorkingPicture picture = prepare(bgr);
  result.water = water_chance(picture);
  result.glare = glare_chance(picture, result.water, prior);
  return result;
}

}  // namespace lookdown::glare
