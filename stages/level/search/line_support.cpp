#include "stages/level/search/line_support.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <vector>

#include "pipeline/base/robust_statistics.h"

namespace lookdown::level {
namespace {

/// Middle and spread of one layer parallel to the line.
struct Layer {
  double middle = std::numeric_limits<double>::quiet_NaN();
  double spread = 0;
};

/// Median and scaled median deviation over profiles of each sample; NaN where fewer than a third of them are
/// in the picture.
std::vector<Layer> layers_of(const Profiles& profiles, const Eigen::Vector3f& direction) {
  std::vector<Layer> layers(2 * profiles.half_count + 1);
  std::vector<double> values;
  for (std::size_t i = 0; i < layers.size(); ++i) {
    values.clear();
    for (const Profile& profile : profiles.all)
      if (!std::isnan(profile.colours[i][0])) values.push_back(direction.dot(profile.colours[i]));
    if (3 * values.size() < profiles.all.size() || values.empty()) continue;
    layers[i].middle = median_in_place(values);
    for (double& v : values) v = std::abs(v - layers[i].middle);
    layers[i].spread = kSigmaOfMad * median_in_place(values);
  }
  return layers;
}

/// EdgeResponse of the mean profile at sample i, over `window` samples a side.
double step_at(const std::vector<Layer>& layers, int i, int window) {
  double above = 0, below = 0;
  for (int j = 1; j <= window; ++j) {
    above += layers[i + j].middle / window;
    below += layers[i - j].middle / window;
  }
  return above - below;
}

/// Mean size of the second difference of three colours; they are told apart from a smooth slope, which says
/// nothing of which way things lie. Adds to `sum` and `count` where all three are in the picture.
void add_bend(const Eigen::Vector3f& before, const Eigen::Vector3f& here, const Eigen::Vector3f& after,
              double step_px, double& sum, double& count) {
  if (std::isnan(before[0]) || std::isnan(here[0]) || std::isnan(after[0])) return;
  sum += (before - 2 * here + after).norm() / step_px;
  count += 1;
}

/// Log of the mean unevenness a pixel across over that along, between two samples of all profiles.
double layering(const Profiles& profiles, int first, int last) {
  double across = 0, along = 0, across_count = 0, along_count = 0;
  for (std::size_t k = 1; k + 1 < profiles.all.size(); ++k) {
    const Profile &left = profiles.all[k - 1], &middle = profiles.all[k], &right = profiles.all[k + 1];
    for (int i = std::max(1, first); i < last; ++i) {
      add_bend(middle.colours[i - 1], middle.colours[i], middle.colours[i + 1], profiles.step_px, across,
               across_count);
      add_bend(left.colours[i], middle.colours[i], right.colours[i], 0.5 * (right.along_px - left.along_px),
               along, along_count);
    }
  }
  if (across_count == 0 || along_count == 0) return 0;
  constexpr double floor = 0.25;  // grey levels a pixel: noise
  return std::log((across / across_count + floor) / (along / along_count + floor));
}

}  // namespace

ProfileTerms profile_terms(const Profiles& profiles) {
  ProfileTerms terms;
  if (profiles.all.empty()) return terms;
  const auto layers = layers_of(profiles, fisher_direction(profiles));
  const int window = 3, half = profiles.half_count;
  double own = 0, other = 0, close = 0;
  for (int i = window; i + window <= 2 * half; ++i) {
    const double step = std::abs(step_at(layers, i, window));
    if (std::isnan(step)) continue;
    if (std::abs(i - half) <= window)
      own = std::max(own, step);
    else if (i > half + 2 * window)
      (i < half + 2 * half / 5 ? close : other) = std::max(i < half + 2 * half / 5 ? close : other, step);
  }
  double sky = 0, ground = 0;
  int sky_count = 0, ground_count = 0;
  for (int i = window; i <= half; ++i) {
    const Layer &above = layers[half + i], &below = layers[half - i];
    if (!std::isnan(above.middle)) sky += above.spread, ++sky_count;
    if (!std::isnan(below.middle)) ground += below.spread, ++ground_count;
  }
  sky = sky_count > 0 ? sky / sky_count : 0;
  ground = ground_count > 0 ? ground / ground_count : 0;
  terms.step_close_above_share = std::min(2.0, close / (own + 1.0));
  terms.step_above_share = std::min(2.0, other / (own + 1.0));
  terms.along_sky_to_ground = std::clamp(std::log((sky + 1) / (ground + 1)), -3.0, 3.0);
  terms.own_step = std::log1p(own / (sky + 1));
  terms.layering_sky = layering(profiles, half + 2 * window, half + half * 2 / 3);
  terms.layering_ground = layering(profiles, half - half * 2 / 3, half - 2 * window);
  return terms;
}

}  // namespace lookdown::level
