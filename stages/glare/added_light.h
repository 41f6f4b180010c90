// Dichromatic reasoning (Shafer, Color Research & Application 10:210, 1985): what is seen of water is its own
// light plus what the surface mirrors, and that has the colour of its source. How strong it must be to hide
// what lies below. Private to the stage.
#pragma once

#include <array>
#include <opencv2/core.hpp>

#include "stages/glare/glare_search.h"

namespace lookdown::glare {

/// Linear light of the stored levels: blue, green, red.
using LightOfLevel = std::array<std::array<float, 256>, 3>;
/// Of the sRGB curve, times a gain for each channel.
[[nodiscard]] LightOfLevel linear_light(float blue, float green, float red);
/// Luminance of linear light in blue, green, red.
[[nodiscard]] inline float luminance(const cv::Vec3f& c) {
  return 0.0722f * c[0] + 0.7152f * c[1] + 0.2126f * c[2];
}

/// Linear luminance as the stored level of a grey of that luminance (CV_8UC1).
[[nodiscard]] cv::Mat stored_brightness(const cv::Mat& luminance);

/// Seen light, the light of what lies below, and what the colour of the difference says.
struct AddedLight {
  cv::Mat light;   ///< CV_32FC1, luminance in linear light
  cv::Mat base;    ///< CV_32FC1, luminance of the water without what it mirrors, at the same exposure
  cv::Mat colour;  ///< CV_32FC1, log-odds: 0, or less where neither sun nor sky has this colour
};
/// `gain`: CV_32FC3, seen minus base, linear light.
[[nodiscard]] cv::Mat odds_of_colour(const cv::Mat& gain);

/// Log-odds for a prior from the density of facets that mirror the sun, relative to its peak: a hundredth is
/// as likely something else.
[[nodiscard]] float odds_of_facets(double relative_density);

/// The prior stretched over a picture, as log-odds; 0 when nothing is known.
[[nodiscard]] cv::Mat odds_of_place(const GlintPrior&, cv::Size);

/// Log-odds that added light hides what lies below. `other_odds`: log-odds from elsewhere (colour, place).
[[nodiscard]] cv::Mat odds_of_excess(const AddedLight&, const cv::Mat& other_odds);
/// The same told as the stored brightness (CV_8UC1) at which the odds are even, so that a finer picture can
/// be compared with it.
[[nodiscard]] cv::Mat brightness_limit(const cv::Mat& base, const cv::Mat& other_odds);

}  // namespace lookdown::glare
