#include "stages/glare/added_light.h"

#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>

#include "stages/glare/plane_math.h"

namespace lookdown::glare {
namespace {

constexpr float kNoise =
    0.01f;  // linear light: two to four levels of 8 bits over the range of tones that water has
// Added light hides the bottom when it is as strong as the bottom's own; the base has some of the sky's in it
// already.
constexpr float kShareOfBase = 0.8f;
constexpr float kSteepness = 4;       // log-odds for each factor of e in strength
constexpr float kMostByStrength = 3;  // however bright: a white board is brighter than most glint

}  // namespace

LightOfLevel linear_light(float blue, float green, float red) {
  LightOfLevel light{};
  const cv::Mat levels = [] {
    cv::Mat ramp(1, 256, CV_8UC3);
    for (int level = 0; level < 256; ++level)
      ramp.at<cv::Vec3b>(0, level) = cv::Vec3b::all(static_cast<uchar>(level));
    return light_of(ramp);
  }();
  const std::array<float, 3> gains{blue, green, red};
  for (std::size_t c = 0; c < 3; ++c)
    for (int level = 0; level < 256; ++level)
      light[c][static_cast<std::size_t>(level)] = gains[c] * levels.at<float>(0, level);
  return light;
}

// Mirrored sun and sky have the colour of their source: white to blue, never red without blue. Judged over a
// few pixels together, since a sharp speck has coloured rims from the sensor's mosaic.
cv::Mat odds_of_colour(const cv::Mat& gain) {
  constexpr float kLeastShare = 0.25f, kNotALight = -4;
  const cv::Mat around = blurred(cv::max(gain, 0), 2);
  cv::Mat odds(gain.size(), CV_32FC1);
  for (int y = 0; y < gain.rows; ++y)
    for (int x = 0; x < gain.cols; ++x) {
      const cv::Vec3f g = around.at<cv::Vec3f>(y, x);
      odds.at<float>(y, x) =
          std::min({g[0], g[1], g[2]}) >= kLeastShare * std::max({g[0], g[1], g[2]}) ? 0 : kNotALight;
    }
  return odds;
}

float odds_of_facets(double relative_density) {
  constexpr double kSomethingElse = 0.01, kMost = 8;
  return static_cast<float>(std::clamp(std::log(relative_density / kSomethingElse + 1e-9), -kMost, kMost));
}

cv::Mat odds_of_place(const GlintPrior& prior, cv::Size size) {
  if (prior.odds.empty()) return cv::Mat::zeros(size, CV_32FC1);
  // Being where the sun is mirrored makes faint light no stronger.
  constexpr double kMost = 0.5;
  cv::Mat odds;
  cv::resize(prior.odds, odds, size, 0, 0, cv::INTER_LINEAR);
  return cv::min(odds, kMost);
}

cv::Mat odds_of_excess(const AddedLight& added, const cv::Mat& other_odds) {
  cv::Mat odds;
  cv::log(cv::max(added.light - added.base, 1e-4) / (kShareOfBase * added.base + kNoise), odds);
  return cv::min(kSteepness * odds, kMostByStrength) + other_odds;
}

cv::Mat stored_brightness(const cv::Mat& luminance) {
  static const std::array<float, 256> light_of_level = linear_light(1, 1, 1)[0];
  cv::Mat level(luminance.size(), CV_8UC1);
  for (int y = 0; y < level.rows; ++y)
    for (int x = 0; x < level.cols; ++x)
      level.at<uchar>(y, x) = cv::saturate_cast<uchar>(
          std::upper_bound(light_of_level.begin(), light_of_level.end(), luminance.at<float>(y, x)) -
          light_of_level.begin());
  return level;
}

cv::Mat brightness_limit(const cv::Mat& base, const cv::Mat& other_odds) {
  // Odds are even at base + (share * base + noise) * e^(-other odds / steepness).
  cv::Mat factor;
  cv::exp(other_odds * (-1 / kSteepness), factor);
  cv::Mat limit = stored_brightness(base + cv::Mat(kShareOfBase * base + kNoise).mul(factor));
  limit.setTo(255, other_odds < -kMostByStrength);
  return limit;
}

}  // namespace lookdown::glare
