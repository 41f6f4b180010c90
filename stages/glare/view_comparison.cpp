#include "stages/glare/view_comparison.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <opencv2/imgproc.hpp>

#include "stages/glare/added_light.h"
#include "stages/glare/boosted_trees.h"
#include "stages/glare/glitter_field.h"

namespace lookdown::glare {
namespace {

// Ratio of brightness between two views of the same ground, by channel, from pixels that neither view calls
// water: land does not shine.
std::array<float, 3> gains_between(const SearchedFrame& own, const OverlaidView& other) {
  static const LightOfLevel light = linear_light(1, 1, 1);
  std::array<std::vector<float>, 3> on_land, anywhere;
  for (int y = 2; y < own.bgr.rows; y += 6)
    for (int x = 2; x < own.bgr.cols; x += 6) {
      if (!other.seen.at<uchar>(y, x)) continue;
      const cv::Vec3b a = own.bgr.at<cv::Vec3b>(y, x), b = other.bgr.at<cv::Vec3b>(y, x);
      if (std::min({a[0], a[1], a[2], b[0], b[1], b[2]}) < 12 ||
          std::max({a[0], a[1], a[2], b[0], b[1], b[2]}) > 245)
        continue;
      const bool land = own.water.at<uchar>(y, x) < 80 && other.water.at<uchar>(y, x) < 80;
      for (std::size_t c = 0; c < 3; ++c) {
        const float ratio = std::log(light[c][a[static_cast<int>(c)]] / light[c][b[static_cast<int>(c)]]);
        anywhere[c].push_back(ratio);
        if (land) on_land[c].push_back(ratio);
      }
    }
  std::array<float, 3> gains{1, 1, 1};
  for (std::size_t c = 0; c < 3; ++c) {
    std::vector<float>& sample = on_land[c].size() > 300 ? on_land[c] : anywhere[c];
    if (sample.size() < 50) continue;
    std::nth_element(sample.begin(), sample.begin() + sample.size() / 2, sample.end());
    gains[c] = std::exp(std::clamp(sample[sample.size() / 2], -1.5f, 1.5f));
  }
  return gains;
}

cv::Vec3f light_at(const cv::Mat& bgr, int y, int x, const LightOfLevel& light) {
  const cv::Vec3b v = bgr.at<cv::Vec3b>(y, x);
  return {light[0][v[0]], light[1][v[1]], light[2][v[2]]};
}

cv::Mat as_chance(const cv::Mat& levels) {
  cv::Mat chance;
  levels.convertTo(chance, CV_32FC1, 1 / 255.0);
  return chance;
}

// Light below what a frame mirrors, as that frame alone takes it.
cv::Mat own_base(const SearchedFrame& own) {
  static const LightOfLevel light = linear_light(1, 1, 1);
  cv::Mat base;
  cv::LUT(own.base, cv::Mat(1, 256, CV_32FC1, const_cast<float*>(light[0].data())), base);
  return base;
}

// What the frame says by itself; once the sun is known, that replaces what its own glitter says of the place.
cv::Mat limit_alone(const SearchedFrame& own, const GlintPrior& prior) {
  if (prior.odds.empty() || own.base.empty()) return own.limit.empty() ? ~own.glare : own.limit;
  const cv::Mat base = own_base(own);
  return brightness_limit(base, odds_of_place(prior, base.size()));
}

}  // namespace

namespace {

// The views of one pixel, as luminance with the view's number.
struct Sights {
  std::vector<std::pair<float, std::size_t>> clear;       // away from where waves mirror the sun
  std::vector<std::pair<float, std::size_t>> glittering;  // in the field
};

// A low of them, with the view it comes from: one dark outlier among many does not count.
std::pair<float, std::size_t> low_of(std::vector<std::pair<float, std::size_t>>& sights) {
  const auto low = sights.begin() + static_cast<long>((sights.size() - 1) * 3 / 10);
  std::nth_element(sights.begin(), low, sights.end());
  return *low;
}

// What lies below the spot that the views see: `dark` is the own frame's dark side of the water around, black
// where not known; `light_of(view)` what a view shows.
template <class LightOf>
cv::Vec3f light_below(Sights& sights, const cv::Vec3f& dark, const LightOf& light_of) {
  if (!sights.clear.empty()) return light_of(low_of(sights.clear).second);
  if (luminance(dark) <= 0) return light_of(low_of(sights.glittering).second);
  // What is bright in the frame and in this many more, though all look into the glitter, stands still.
  constexpr std::size_t kViewsOfStanding = 3;
  if (sights.glittering.size() < kViewsOfStanding) return dark;
  const auto least = std::min_element(sights.glittering.begin(), sights.glittering.end());
  return least->first > luminance(dark) ? light_of(least->second) : dark;
}

}  // namespace

ViewExcess excess_over_views(const SearchedFrame& own, const std::vector<OverlaidView>& others) {
  static const LightOfLevel own_light = linear_light(1, 1, 1);
  std::vector<LightOfLevel> lights;
  std::vector<cv::Mat> spread;
  for (const OverlaidView& other : others) {
    const auto gains = gains_between(own, other);
    lights.push_back(linear_light(gains[0], gains[1], gains[2]));
    // A view that lies a pixel off must not make the edge of a bright thing look like glare: it counts with
    // its brightest neighbour.
    cv::Mat brightest;
    cv::dilate(other.bgr, brightest, {});
    spread.push_back(brightest);
  }
  const cv::Size size = own.bgr.size();
  ViewExcess excess{{cv::Mat(size, CV_32FC1), cv::Mat(size, CV_32FC1), {}},
                    cv::Mat(size, CV_32FC1),
                    cv::Mat(size, CV_8UC1)};
  cv::Mat gain(size, CV_32FC3), dark(size, CV_8UC3, cv::Scalar(0));
  if (!own.dark.empty()) cv::resize(own.dark, dark, size, 0, 0, cv::INTER_LINEAR);
  Sights sights;
  for (int y = 0; y < size.height; ++y)
    for (int x = 0; x < size.width; ++x) {
      sights.clear.clear();
      sights.glittering.clear();
      float water = own.water.at<uchar>(y, x);
      for (std::size_t i = 0; i < others.size(); ++i) {
        if (!others[i].seen.at<uchar>(y, x)) continue;
        const bool in_field = !others[i].field.empty() && others[i].field.at<uchar>(y, x) > 127;
        (in_field ? sights.glittering : sights.clear)
            .emplace_back(luminance(light_at(spread[i], y, x, lights[i])), i);
        water += others[i].water.at<uchar>(y, x);
      }
      const std::size_t views = sights.clear.size() + sights.glittering.size();
      excess.views.at<uchar>(y, x) = static_cast<uchar>(views);
      excess.water.at<float>(y, x) = water / (255.0f * static_cast<float>(views + 1));
      const cv::Vec3f light = light_at(own.bgr, y, x, own_light), below = light_at(dark, y, x, own_light);
      const cv::Vec3f base = views == 0 ? light : light_below(sights, below, [&](std::size_t view) {
        return light_at(spread[view], y, x, lights[view]);
      });
      excess.added.light.at<float>(y, x) = luminance(light);
      excess.added.base.at<float>(y, x) = luminance(base);
      gain.at<cv::Vec3f>(y, x) = light - base;
    }
  excess.added.colour = odds_of_colour(gain);
  return excess;
}

ComparedFrame compare_views(const SearchedFrame& own, const std::vector<OverlaidView>& others,
                            const GlintPrior& prior) {
  ViewExcess excess = excess_over_views(own, others);
  ComparedFrame compared;
  compared.water = excess.water;
  compared.views = excess.views;
  GlintPrior known = prior;
  if (known.odds.empty()) {
    constexpr double kOrdinaryShare = 0.015;
    const cv::Mat water = compared.water > 0.5f;
    // Boats and jetties stand off the plane and lie elsewhere in each view. In the frame itself they are
    // solid, and glitter is not.
    if (!own.base.empty()) excess.added.base = cv::max(excess.added.base, own_base(own));
    known.odds = odds_of_density(strong_light(excess.added) & water, water, kOrdinaryShare);
  }
  const cv::Mat odds = excess.added.colour + odds_of_place(known, excess.views.size());
  compared.glare = chance_of(odds_of_excess(excess.added, odds));
  compared.limit = brightness_limit(excess.added.base, odds);
  constexpr float kAgreedWater = 0.5f;
  compared.glare.setTo(0, compared.water < kAgreedWater);
  const cv::Mat alone = compared.views == 0;
  as_chance(own.glare).copyTo(compared.glare, alone);
  limit_alone(own, prior).copyTo(compared.limit, alone);
  return compared;
}

}  // namespace lookdown::glare
