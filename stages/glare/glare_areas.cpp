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
  cv::Mat least;      // smallest gain of a channel, linear light
  cv::Mat ratio;      // log of light over own light of the wide surroundings
  cv::Mat near_ratio; // and of the near ones
  cv::Mat neutral;    // smallest over largest gain, -1..1
  cv::Mat blue;       // blue over red in the gain: sky or sun
  cv::Mat paler;      // saturation of the water minus saturation seen
  cv::Mat pale;       // saturation seen
  cv::Mat own_light;
};

float saturation_of(const cv::Vec3f& c) {
  const float most = std::max({c[0], c[1], c[2]}), least = std::min({c[0], c[1], c[2]});
  return (most - least) / (most + 0.01f);
}

float light_in(const cv::Vec3f& c) { return 0.0722f * c[0] + 0.7152f * c[1] + 0.2126f * c[2]; }

Added added_light(const WorkingPicture& picture, const OwnColour& own) {
  const cv::Size size = picture.light.size();
  Added a;
  for (cv::Mat* plane : {&a.least, &a.ratio, &a.near_ratio, &a.neutral, &a.blue, &a.paler, &a.pale, &a.own_light}) plane->create(size, CV_32FC1);
  for (int y = 0; y < size.height; ++y)
    for (int x = 0; x < size.width; ++x) {
      const cv::Vec3f seen = picture.linear.at<cv::Vec3f>(y, x), below = own.wide.at<cv::Vec3f>(y, x);
      const cv::Vec3f gain = seen - below;
      const float least = std::min({gain[0], gain[1], gain[2]}), most = std::max({gain[0], gain[1], gain[2]});
      const float light = picture.light.at<float>(y, x) + 0.004f;
      a.least.at<float>(y, x) = least;
      a.ratio.at<float>(y, x) = std::log(light / (light_in(below) + 0.004f));
      a.near_ratio.at<float>(y, x) = std::log(light / (light_in(own.near.at<cv::Vec3f>(y, x)) + 0.004f));
      a.neutral.at<float>(y, x) = std::clamp(least / std::max(most, 0.004f), -1.0f, 1.0f);
      a.blue.at<float>(y, x) = std::log((std::max(gain[0], 0.0f) + 0.01f) / (std::max(gain[2], 0.0f) + 0.01f));
      a.pale.at<float>(y, x) = saturation_of(seen);
      a.paler.at<float>(y, x) = saturation_of(below) - a.pale.at<float>(y, x);
      a.own_light.at<float>(y, x) = light_in(below);
    }
  return a;
}

cv::Mat expected_glint(const GlintPrior& prior, cv::Size size) {
  if (prior.chance.empty()) return {};
  cv::Mat stretched;
  cv::resize(prior.chance, stretched, size, 0, 0, cv::INTER_LINEAR);
  return stretched;
}

// A monochrome picture, or one as good as that: nine tenths of it differ by less than three levels between channels.
bool colourless(const cv::Mat& bgr) {
  int coloured = 0, all = 0;
  for (int y = 0; y < bgr.rows; y += 4)
    for (int x = 0; x < bgr.cols; x += 4) {
      const cv::Vec3b& v = bgr.at<cv::Vec3b>(y, x);
      coloured += std::max({v[0], v[1], v[2]}) - std::min({v[0], v[1], v[2]}) > 2;
      ++all;
    }
  return 10 * coloured < all;
}

}  // namespace

FeaturePlanes glare_features(const WorkingPicture& picture, const cv::Mat& water) {
  FeaturePlanes features;
  auto& planes = features.planes;
  const Added added = added_light(picture, own_colour(picture, water));
  const cv::Mat light = log_of(picture.light), calm = log_of(picture.calm_light), own = log_of(added.own_light);
  planes = {light, added.ratio, added.near_ratio, added.least, added.neutral, added.blue, added.pale, added.paler};
  planes.push_back(light - quantile_of(light, 0.5));
  planes.push_back(own - quantile_of(light, 0.5));
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
  const cv::Mat around = blurred(water, 6);
  planes.push_back(around);
  for (const double around_px : {20.0, 60.0}) planes.push_back(blurred(water, around_px));
  cv::Mat least;
  cv::erode(blurred(water, 3), least, cv::getStructuringElement(cv::MORPH_RECT, {31, 31}));
  planes.push_back(blurred(least, 8));                   // well inside the water
  cv::Mat clipped = cv::Mat(picture.light > 0.93f);
  clipped.convertTo(clipped, CV_32FC1, 1 / 255.0);
  planes.push_back(blurred(clipped, 3));
  for (const float limit : {0.35f, 1.1f})
    for (const cv::Mat& plane : blob_features(added.near_ratio > limit, light, around, added.pale).planes) planes.push_back(plane);
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
  // Without colour nothing tells smooth paving from water, nor light joints from glitter: half of the evidence is missing, so what is left
  // must be overwhelming.
  constexpr double kMissingEvidence = 3;
  if (colourless(picture.bgr)) odds -= kMissingEvidence;
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
