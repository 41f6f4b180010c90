#include "stages/level/lines/skyline.h"

#include <algorithm>
#include <cmath>
#include <limits>

#include "pipeline/base/robust_statistics.h"

namespace lookdown::level {
namespace {

constexpr int kNeighbours = 6;  // profiles on either side that share a model of sky and ground
constexpr double kLeastLeave =
    0.18;  // of the contrast between sky and ground: above the ringing and haze of the sky
constexpr double kMostLeave = 0.5;
constexpr double kLeastContrast = 3;  // grey levels

constexpr double kNone = std::numeric_limits<double>::quiet_NaN();

/// Middles of the slabs of one profile: far and near sky, ground; the spread of the near sky. NaN where not
/// in the picture.
struct Slabs {
  double sky_far = 0, sky_near = 0, sky_noise = 0, ground = 0;
};

double median_between(const std::vector<double>& values, int first, int last) {
  std::vector<double> inside;
  for (int i = first; i < last; ++i)
    if (!std::isnan(values[i])) inside.push_back(values[i]);
  return inside.size() < 3 ? kNone : median_in_place(inside);
}

Slabs slabs_of(const std::vector<double>& values, int half_count) {
  const int near = half_count + half_count / 3, middle = half_count + half_count * 2 / 3;
  Slabs slabs;
  slabs.sky_far = median_between(values, middle, 2 * half_count + 1);
  slabs.sky_near = median_between(values, near, middle);
  slabs.ground = median_between(values, 0, half_count / 2);
  std::vector<double> away;
  for (int i = near; i < middle; ++i)
    if (!std::isnan(values[i])) away.push_back(std::abs(values[i] - slabs.sky_near));
  slabs.sky_noise = kSigmaOfMad * median_in_place(away, kNone);
  return slabs;
}

/// What sky and ground look like around one profile.
struct LocalModel {
  double sky = 0, sky_slope = 0, sky_noise = 0, ground = 0;
  bool known = false;
};

/// Medians over the neighbouring profiles' slabs.
LocalModel local_model(const std::vector<Slabs>& slabs, int profile, int half_count) {
  const int first = std::max(0, profile - kNeighbours);
  const int last = std::min(static_cast<int>(slabs.size()) - 1, profile + kNeighbours);
  const auto middle_of = [&](double Slabs::*member) {
    std::vector<double> values;
    for (int k = first; k <= last; ++k)
      if (!std::isnan(slabs[k].*member)) values.push_back(slabs[k].*member);
    return median_in_place(values, kNone);
  };
  LocalModel model;
  model.sky = middle_of(&Slabs::sky_near);
  model.ground = middle_of(&Slabs::ground);
  model.known = !std::isnan(model.sky) && !std::isnan(model.ground);
  if (!model.known) return model;
  const double far = middle_of(&Slabs::sky_far);
  model.sky_slope = std::isnan(far) ? 0 : (model.sky - far) / (half_count / 3.0);  // a sample down
  // Clouds differ from profile to profile as well as within one.
  std::vector<double> apart;
  for (int k = first; k <= last; ++k)
    if (!std::isnan(slabs[k].sky_near)) apart.push_back(std::abs(slabs[k].sky_near - model.sky));
  model.sky_noise = std::hypot(middle_of(&Slabs::sky_noise), kSigmaOfMad * median_in_place(apart, kNone));
  return model;
}

/// Share of the way from sky to ground at each sample of one profile.
std::vector<double> shares(const std::vector<double>& values, const LocalModel& model, int half_count) {
  std::vector<double> share(values.size());
  const double contrast = model.ground - model.sky;
  // The trend is not followed all the way: it was measured where it need not go on.
  const double most_trend = 0.5 * std::abs(contrast);
  for (std::size_t i = 0; i < values.size(); ++i) {
    const double down = half_count * 1.5 - static_cast<double>(i);
    const double trend = std::clamp(0.8 * model.sky_slope * down, -most_trend, most_trend);
    share[i] = (values[i] - model.sky - trend) / contrast;
  }
  return share;
}

/// First sample, from the sky down, after which the value stays away from the sky; empty when it never does.
double leaving_sample(const std::vector<double>& share, double leave, int stay) {
  const int n = static_cast<int>(share.size());
  for (int i = n - 2; i > stay; --i) {
    if (!(share[i] > leave) || std::isnan(share[i + 1])) continue;
    double sum = 0;
    for (int j = i - stay; j < i; ++j) sum += share[j] > leave ? 1 : 0;
    if (sum < 0.8 * stay) continue;
    const double rise = share[i] - share[i + 1];
    return rise > 0 ? i + std::clamp((share[i] - leave) / rise, 0.0, 1.0) : i;
  }
  return std::numeric_limits<double>::quiet_NaN();
}

/// Sub-sample place of the greatest slope (share gained a two-sample step down) of at least `least` between
/// two samples; NaN when there is none.
double steep_spot(const std::vector<double>& share, int from, int to, double least) {
  const auto slope = [&](int i) { return share[i - 1] - share[i + 1]; };
  double best = least, place = std::numeric_limits<double>::quiet_NaN();
  for (int i = std::min(from, static_cast<int>(share.size()) - 3); i >= std::max(2, to); --i) {
    const double here = slope(i), left = slope(i - 1), right = slope(i + 1);
    if (!(here > best && here >= left && here >= right)) continue;
    const double bend = left - 2 * here + right;
    best = here;
    place = i + (bend < 0 ? std::clamp(0.5 * (left - right) / bend, -0.5, 0.5) : 0.0);
  }
  return place;
}

/// The steepest spot beside the place where the sky was left; the place itself when nothing there is steep.
double edge_of(const std::vector<double>& share, double left_at) {
  const int here = static_cast<int>(left_at);
  const double beside = steep_spot(share, here + 2, here - 3, 0.08);
  if (!std::isnan(beside)) return beside;
  return left_at;
}

}  // namespace

std::vector<EdgeResponse> skyline(const Profiles& profiles) {
  const Eigen::Vector3f direction = fisher_direction(profiles);
  std::vector<std::vector<double>> values;
  for (const Profile& profile : profiles.all) {
    values.emplace_back();
    for (const auto& colour : profile.colours) values.back().push_back(direction.dot(colour));
  }
  std::vector<Slabs> slabs;
  for (const auto& profile : values) slabs.push_back(slabs_of(profile, profiles.half_count));
  const int stay = std::max(3, profiles.half_count / 6);
  std::vector<EdgeResponse> points;
  for (int k = 0; k < static_cast<int>(profiles.all.size()); ++k) {
    const LocalModel model = local_model(slabs, k, profiles.half_count);
    const double contrast = std::abs(model.ground - model.sky);
    if (!model.known || contrast < std::max(kLeastContrast, 1.5 * model.sky_noise)) continue;
    const auto share = shares(values[k], model, profiles.half_count);
    const double leave = std::clamp(4 * model.sky_noise / contrast, kLeastLeave, kMostLeave);
    const double left_at = leaving_sample(share, leave, stay);
    if (std::isnan(left_at)) continue;
    points.push_back(
        {k, profiles.all[k].along_px, profiles.across_px(edge_of(share, left_at)), model.sky - model.ground});
  }
  return points;
}

}  // namespace lookdown::level
