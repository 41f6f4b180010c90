#include "stages/level/horizon_refine.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <opencv2/imgproc.hpp>

#include "stages/level/edge_profiles.h"
#include "stages/level/skyline.h"

namespace lookdown::level {
namespace {

constexpr int kFewestStations = 12;
constexpr double kStraightShare = 0.8;  // of the stations on one line: below it the skyline is hilly

/// across = offset + slope * along.
struct Slant {
  double offset = 0;
  double slope = 0;
  double at(double along) const { return offset + slope * along; }
};

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

/// The slanted line that most stations agree on, from all pairs of a thinned set of steps.
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

/// The step of each station that lies nearest to the line, within `window`.
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

/// Tukey's biweight fit by re-weighted least squares, started from `slant`.
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

/// The line that `slant` is, seen from `frame`.
Eigen::Vector3d line_of(const LineFrame& frame, const Slant& slant) {
  const Eigen::Vector2d normal = (frame.to_sky - slant.slope * frame.along).normalized();
  const Eigen::Vector2d point = frame.foot + slant.offset * frame.to_sky;
  return {normal.x(), normal.y(), -normal.dot(point)};
}

/// Uncertainty from the residuals, whose neighbours go together (tree tops, hills): fewer independent points
/// than stations.
void state_uncertainty(const std::vector<Step>& steps, const Slant& slant, double tolerance,
                       RefinedLine& result) {
  std::vector<double> residual, along;
  for (const Step& s : steps) {
    const double r = s.across_px - slant.at(s.along_px);
    if (std::abs(r) > tolerance) continue;
    residual.push_back(r);
    along.push_back(s.along_px);
  }
  const double n = static_cast<double>(residual.size());
  if (n < 3) return;
  double square = 0, lagged = 0, mean_along = 0, spread = 0;
  for (double a : along) mean_along += a / n;
  for (std::size_t i = 0; i < residual.size(); ++i) {
    square += residual[i] * residual[i];
    if (i > 0) lagged += residual[i] * residual[i - 1];
    spread += (along[i] - mean_along) * (along[i] - mean_along);
  }
  const double correlation = square > 0 ? std::clamp(lagged / square, 0.0, 0.97) : 0;
  const double independent = std::max(2.0, n * (1 - correlation) / (1 + correlation));
  const double scatter = std::sqrt(square / n);
  result.scatter_px = scatter;
  result.angle_sigma_rad = std::sqrt(scatter * scatter / independent / (spread / n) + 1e-8);
  result.offset_sigma_px = std::sqrt(scatter * scatter / independent + 0.01);
  // Waviness: means over windows of an eighth of the stations.
  const std::size_t window = std::max<std::size_t>(3, residual.size() / 8);
  double wave = 0;
  int windows = 0;
  for (std::size_t first = 0; first + window <= residual.size(); first += window, ++windows) {
    double mean = 0;
    for (std::size_t i = first; i < first + window; ++i) mean += residual[i] / static_cast<double>(window);
    wave += mean * mean;
  }
  result.relief_px = windows > 0 ? std::sqrt(wave / windows) : 0;
}

LineSupport support_of(const Profiles& profiles, const std::vector<Step>& steps, const Slant& slant,
                       double tolerance) {
  LineSupport support;
  std::vector<double> heights, misses;
  int same_sign = 0;
  for (const Step& s : steps) {
    const double miss = std::abs(s.across_px - slant.at(s.along_px));
    if (miss > tolerance) continue;
    misses.push_back(miss);
    heights.push_back(std::abs(s.height));
    same_sign += s.height > 0;
  }
  if (profiles.stations == 0 || misses.empty()) return support;
  support.inlier_share = static_cast<double>(misses.size()) / profiles.stations;
  support.same_sign_share = static_cast<double>(same_sign) / static_cast<double>(misses.size());
  support.step_to_noise = median(heights) / (profiles.sky_noise + 0.5);
  return support;
}

}  // namespace

std::optional<RefinedLine> refine_line(const cv::Mat3b& blurred, const Camera& camera,
                                       const Eigen::Vector3d& first, double reach_px,
                                       double skyline_reach_share) {
  const double long_side = std::max(blurred.cols, blurred.rows);
  RefinedLine result;
  // First the strongest straight edge near the cut: it may be the near edge of a hazy strip of land.
  LineFrame frame = line_frame(first, blurred.size());
  const Stations wide = sample_stations(blurred, camera, frame, reach_px);
  if (static_cast<int>(wide.all.size()) < kFewestStations) return std::nullopt;
  const Profiles profiles = steps_across(wide, std::max(3.0, reach_px / 6));
  const double agree = std::max(3.0, 0.008 * long_side);
  Slant slant = most_agreed(profiles, frame.last - frame.first, agree);
  slant = robust_fit(nearest_steps(profiles.steps, slant, 2 * agree), slant, 0.25);
  if (std::abs(slant.slope) > 0.5) return std::nullopt;
  result.line = line_of(frame, slant);
  // Then the skyline about it, from closer by each time.
  for (double share = skyline_reach_share; share > 0.03; share *= 0.5) {
    frame = line_frame(result.line, blurred.size());
    const Stations stations = sample_stations(blurred, camera, frame, std::max(12.0, share * long_side));
    if (static_cast<int>(stations.all.size()) < kFewestStations) return std::nullopt;
    const auto points = skyline(stations);
    if (static_cast<int>(points.size()) < kFewestStations) continue;
    Profiles found{static_cast<int>(stations.all.size()), points, profiles.sky_noise};
    slant = robust_fit(points, most_agreed(found, frame.last - frame.first, agree), 0.25);
    // A skyline of hills has no straight piece that is more right than the rest: all of it is averaged.
    if (support_of(found, points, slant, agree).inlier_share < kStraightShare)
      slant = robust_fit(points, slant, 0.014 * long_side);
    if (std::abs(slant.slope) > 0.5) return std::nullopt;
    const double tolerance = std::max(2.0, 0.006 * long_side);
    result.support = support_of(found, points, slant, tolerance);
    state_uncertainty(points, slant, tolerance, result);
    result.support.scatter_share = 100 * result.scatter_px / long_side;
    result.line = line_of(frame, slant);
  }
  const Stations about =
      sample_stations(blurred, camera, line_frame(result.line, blurred.size()), 0.16 * long_side);
  result.support.profile = profile_terms(about);
  return result;
}

}  // namespace lookdown::level
