#include "stages/level/lines/slanted_line.h"

#include <algorithm>
#include <cmath>

namespace lookdown::level {
namespace {

/// How many stations have a step on the slanted line, each weighted by the step's rank at its station.
double consensus(const std::vector<Step>& steps, const Slant& slant, double tolerance) {
  double total = 0, best_here = 0, strongest_here = 1;
  int station = -1;
  for (const Step& step : steps) {
    if (step.station != station) {
      total += best_here;
      best_here = 0;
      station = step.station;
      strongest_here = std::abs(step.height) + 1e-6;
    }
    const double miss = (step.across_px - slant.at(step.along_px)) / tolerance;
    if (std::abs(miss) >= 1) continue;
    const double sign_weight = step.height > 0 ? 1.0 : 0.5;
    best_here = std::max(best_here, sign_weight * (1 - miss * miss) * std::abs(step.height) / strongest_here);
  }
  return total + best_here;
}

}  // namespace

Slant most_agreed(const Profiles& profiles, double length, double tolerance) {
  std::vector<const Step*> thinned;
  const int stride = std::max(1, profiles.stations / 20);
  int last_station = -1, taken = 0;
  for (const Step& step : profiles.steps) {
    taken = step.station == last_station ? taken + 1 : 0;
    last_station = step.station;
    if (step.station % stride == 0 && taken < 2) thinned.push_back(&step);
  }
  Slant best;
  double most = consensus(profiles.steps, best, tolerance);
  for (std::size_t i = 0; i < thinned.size(); ++i)
    for (std::size_t j = i + 1; j < thinned.size(); ++j) {
      const double run = thinned[j]->along_px - thinned[i]->along_px;
      if (run < 0.25 * length) continue;
      Slant slant;
      slant.slope = (thinned[j]->across_px - thinned[i]->across_px) / run;
      slant.offset = thinned[i]->across_px - slant.slope * thinned[i]->along_px;
      const double agreed = consensus(profiles.steps, slant, tolerance);
      if (agreed > most) {
        most = agreed;
        best = slant;
      }
    }
  return best;
}

std::vector<Step> nearest_steps(const std::vector<Step>& steps, const Slant& slant, double window) {
  std::vector<Step> nearest;
  for (const Step& step : steps) {
    const double miss = std::abs(step.across_px - slant.at(step.along_px));
    if (miss > window) continue;
    if (!nearest.empty() && nearest.back().station == step.station) {
      if (miss < std::abs(nearest.back().across_px - slant.at(nearest.back().along_px)))
        nearest.back() = step;
    } else {
      nearest.push_back(step);
    }
  }
  return nearest;
}

double median(std::vector<double> values) {
  if (values.empty()) return 0;
  std::nth_element(values.begin(), values.begin() + static_cast<long>(values.size()) / 2, values.end());
  return values[values.size() / 2];
}

Slant robust_fit(const std::vector<Step>& steps, Slant slant, double least_scale) {
  for (int round = 0; round < 8; ++round) {
    std::vector<double> misses;
    for (const Step& s : steps) misses.push_back(std::abs(s.across_px - slant.at(s.along_px)));
    const double cut = 4.685 * std::max(least_scale, 1.4826 * median(misses));
    double w = 0, wx = 0, wy = 0, wxx = 0, wxy = 0;
    for (const Step& s : steps) {
      const double r = (s.across_px - slant.at(s.along_px)) / cut;
      if (std::abs(r) >= 1) continue;
      const double weight = (1 - r * r) * (1 - r * r);
      w += weight;
      wx += weight * s.along_px;
      wy += weight * s.across_px;
      wxx += weight * s.along_px * s.along_px;
      wxy += weight * s.along_px * s.across_px;
    }
    const double spread = w * wxx - wx * wx;
    if (w < 3 || spread <= 1e-9 * w * wxx) break;
    slant.slope = (w * wxy - wx * wy) / spread;
    slant.offset = (wy - slant.slope * wx) / w;
  }
  return slant;
}

Eigen::Vector3d line_of(const LineFrame& frame, const Slant& slant) {
  const Eigen::Vector2d normal = (frame.to_sky - slant.slope * frame.along).normalized();
  const Eigen::Vector2d point = frame.foot + slant.offset * frame.to_sky;
  return {normal.x(), normal.y(), -normal.dot(point)};
}

}  // namespace lookdown::level
