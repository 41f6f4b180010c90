#include "stages/level/skyline.h"

#include <algorithm>
#include <cmath>
#include <limits>

namespace lookdown::level {
namespace {

constexpr int kNeighbours = 6;  // stations on either side that share a model of sky and ground
constexpr double kLeastLeave =
    0.18;  // of the contrast between sky and ground: above the ringing and haze of the sky
constexpr double kMostLeave = 0.5;
constexpr double kLeastContrast = 3;  // grey levels

double median(std::vector<double>& values) {
  if (values.empty()) return std::numeric_limits<double>::quiet_NaN();
  const auto middle = values.begin() + static_cast<long>(values.size()) / 2;
  std::nth_element(values.begin(), middle, values.end());
  return *middle;
}

/// What sky and ground look like around one station.
struct LocalModel {
  double sky = 0, sky_slope = 0, sky_noise = 0, ground = 0;
  bool known = false;
};

/// `values[k][i]`: station k, sample i, lowest first.
LocalModel local_model(const std::vector<std::vector<double>>& values, int station, int half_count) {
  const int first = std::max(0, station - kNeighbours);
  const int last = std::min(static_cast<int>(values.size()) - 1, station + kNeighbours);
  // Three slabs of the sky side (far, middle, near) and the far half of the ground side.
  const int far = 2 * half_count + 1, middle = half_count + half_count * 2 / 3,
            near = half_count + half_count / 3;
  std::vector<double> sky_far, sky_near, ground;
  for (int k = first; k <= last; ++k) {
    for (int i = middle; i < far; ++i)
      if (!std::isnan(values[k][i])) sky_far.push_back(values[k][i]);
    for (int i = near; i < middle; ++i)
      if (!std::isnan(values[k][i])) sky_near.push_back(values[k][i]);
    for (int i = 0; i < half_count / 2; ++i)
      if (!std::isnan(values[k][i])) ground.push_back(values[k][i]);
  }
  LocalModel model;
  if (sky_near.size() < 8 || ground.size() < 8) return model;
  const double near_level = median(sky_near);
  const double far_level = sky_far.size() < 8 ? near_level : median(sky_far);
  model.sky = near_level;
  model.sky_slope = (near_level - far_level) / (half_count / 3.0);  // a sample down
  model.ground = median(ground);
  for (double& v : sky_near) v = std::abs(v - near_level);
  model.sky_noise = 1.4826 * median(sky_near);
  model.known = true;
  return model;
}

/// Share of the way from sky to ground at each sample of one station.
std::vector<double> shares(const std::vector<double>& values, const LocalModel& model, int half_count) {
  std::vector<double> share(values.size());
  const double contrast = model.ground - model.sky;
  // The trend is followed half as far as it points: it was measured where it need not go on.
  const double most_trend = 0.3 * std::abs(contrast);
  for (std::size_t i = 0; i < values.size(); ++i) {
    const double down = half_count * 1.5 - static_cast<double>(i);
    const double trend = std::clamp(0.5 * model.sky_slope * down, -most_trend, most_trend);
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

/// Steepest spot within a few samples of the place where the sky was left; the place itself when nothing
/// there is steep.
double steepest_beside(const std::vector<double>& share, double left_at) {
  const int n = static_cast<int>(share.size());
  double best = 0.08, place = left_at;
  for (int i = std::max(2, static_cast<int>(left_at) - 3);
       i <= std::min(n - 3, static_cast<int>(left_at) + 2); ++i) {
    const auto slope = [&](int j) { return share[j - 1] - share[j + 1]; };
    const double here = slope(i), left = slope(i - 1), right = slope(i + 1);
    if (!(here > best && here >= left && here >= right)) continue;
    const double bend = left - 2 * here + right;
    best = here;
    place = i + (bend < 0 ? std::clamp(0.5 * (left - right) / bend, -0.5, 0.5) : 0.0);
  }
  return place;
}

}  // namespace

std::vector<Step> skyline(const Stations& stations) {
  const Eigen::Vector3f direction = parting_direction(stations);
  std::vector<std::vector<double>> values;
  for (const Station& station : stations.all) {
    values.emplace_back();
    for (const auto& colour : station.colours) values.back().push_back(direction.dot(colour));
  }
  const int stay = std::max(3, stations.half_count / 6);
  std::vector<Step> points;
  for (int k = 0; k < static_cast<int>(stations.all.size()); ++k) {
    const LocalModel model = local_model(values, k, stations.half_count);
    const double contrast = std::abs(model.ground - model.sky);
    if (!model.known || contrast < std::max(kLeastContrast, 1.5 * model.sky_noise)) continue;
    const auto share = shares(values[k], model, stations.half_count);
    const double leave = std::clamp(4 * model.sky_noise / contrast, kLeastLeave, kMostLeave);
    const double left_at = leaving_sample(share, leave, stay);
    if (std::isnan(left_at)) continue;
    points.push_back({k, stations.all[k].along_px, stations.across_px(steepest_beside(share, left_at)),
                      model.sky - model.ground});
  }
  return points;
}

}  // namespace lookdown::level
