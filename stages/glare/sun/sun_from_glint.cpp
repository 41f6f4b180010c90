#include "stages/glare/sun/sun_from_glint.h"

#include <Eigen/Geometry>
#include <algorithm>
#include <cmath>
#include <functional>
#include <map>
#include <numbers>
#include <opencv2/imgproc.hpp>

#include "pipeline/base/angles.h"
#include "pipeline/geometry/sun_and_water.h"

namespace lookdown::glare {
namespace {

Eigen::Vector3d direction(double elevation_rad, double azimuth_rad) {
  return {std::cos(elevation_rad) * std::sin(azimuth_rad), std::cos(elevation_rad) * std::cos(azimuth_rad),
          std::sin(elevation_rad)};
}

// Facet density relative to its peak.
double relative_density(const Eigen::Vector3d& to_sun, const Eigen::Vector3d& to_viewer,
                        double mean_square_slope) {
  return facet_density(to_sun, to_viewer, mean_square_slope) * std::numbers::pi * mean_square_slope;
}

// Samples that look the same way count as one; without this the search would take as long as the flight is.
std::vector<GlintSample> gathered(const std::vector<GlintSample>& samples, double step) {
  struct Sum {
    Eigen::Vector3d direction = Eigen::Vector3d::Zero();
    double glint = 0, weight = 0;
  };
  std::map<std::pair<int, int>, Sum> cells;
  for (const GlintSample& s : samples) {
    Sum& sum = cells[{static_cast<int>(std::floor(s.to_viewer.x() / step)),
                      static_cast<int>(std::floor(s.to_viewer.y() / step))}];
    sum.direction += s.weight * s.to_viewer;
    sum.glint += s.weight * s.glint_share;
    sum.weight += s.weight;
  }
  std::vector<GlintSample> gathered;
  for (const auto& [cell, sum] : cells)
    if (sum.weight > 0) gathered.push_back({sum.direction.normalized(), sum.glint / sum.weight, sum.weight});
  return gathered;
}

// Peak and background rates for one sun and slope by expectation-maximization of the Poisson likelihood.
GlintSun fitted(const std::vector<GlintSample>& samples, const Eigen::Vector3d& to_sun,
                double mean_square_slope, double mean_rate) {
  constexpr int kSteps = 12;
  std::vector<double> density(samples.size());
  double all = 0, all_density = 0;
  for (std::size_t i = 0; i < samples.size(); ++i) {
    density[i] = relative_density(to_sun, samples[i].to_viewer, mean_square_slope);
    all += samples[i].weight;
    all_density += samples[i].weight * density[i];
  }
  GlintSun sun{to_sun, mean_square_slope, std::min(0.5, 0.5 * mean_rate * all / std::max(1e-9, all_density)),
               0.5 * mean_rate, 0};
  for (int step = 0; step < kSteps; ++step) {
    double from_peak = 0, from_background = 0;
    for (std::size_t i = 0; i < samples.size(); ++i) {
      const double glint = samples[i].weight * samples[i].glint_share, peak = sun.peak_rate * density[i];
      const double share = peak / (peak + sun.background_rate + 1e-12);
      from_peak += glint * share;
      from_background += glint * (1 - share);
    }
    sun.peak_rate = std::min(0.6, from_peak / std::max(1e-9, all_density));
    sun.background_rate = std::max(1e-5, from_background / all);
  }
  for (std::size_t i = 0; i < samples.size(); ++i) {
    const double rate = sun.background_rate + sun.peak_rate * density[i];
    sun.evidence +=
        samples[i].weight * (samples[i].glint_share * std::log(rate / mean_rate) - rate + mean_rate);
  }
  return sun;
}

// How much more or less samples scatter about a fit than counts of so small a number would.
double overdispersion(const std::vector<GlintSample>& samples, const GlintSun& sun) {
  constexpr double kUnknowns = 5;
  double sum = 0;
  for (const GlintSample& s : samples) {
    const double rate = sun.background_rate + sun.peak_rate * sun.facets(s.to_viewer);
    sum += s.weight * (s.glint_share - rate) * (s.glint_share - rate) / rate;
  }
  return sum / std::max(1.0, static_cast<double>(samples.size()) - kUnknowns);
}

// From how the evidence falls off on all sides of the best direction (the inverse of the observed
// information), for samples that scatter as they do.
double direction_sigma_rad(const std::vector<GlintSample>& samples, const GlintSun& best, double mean_rate) {
  constexpr double kStep = 2 * kDegree;
  const Eigen::Vector3d u = best.to_sun.unitOrthogonal(), v = best.to_sun.cross(u);
  const auto evidence = [&](double along_u, double along_v) {
    return fitted(samples, (best.to_sun + kStep * (along_u * u + along_v * v)).normalized(),
                  best.mean_square_slope, mean_rate)
        .evidence;
  };
  const double middle = evidence(0, 0);
  const auto falls = [&](double plus, double minus) { return (2 * middle - plus - minus) / (kStep * kStep); };
  const double uu = falls(evidence(1, 0), evidence(-1, 0)), vv = falls(evidence(0, 1), evidence(0, -1)),
               uv = 0.5 * (falls(evidence(1, 1), evidence(-1, -1)) - uu - vv);
  const double least = 0.5 * (uu + vv) - std::hypot(0.5 * (uu - vv), uv);
  constexpr double kNotKnown = std::numbers::pi;
  return least > 0 ? std::min(kNotKnown, std::sqrt(overdispersion(samples, best) / least)) : kNotKnown;
}

template <class Try>
void over_the_sky(const SkySearch& search, const Try& at) {
  constexpr double kLowestDeg = 15;
  for (double elevation_deg = kLowestDeg; elevation_deg <= 90; elevation_deg += search.step_deg) {
    const double elevation = search.elevation_rad.value_or(elevation_deg * kDegree);
    const int around =
        std::max(1, static_cast<int>(std::lround(360 * std::cos(elevation) / search.step_deg)));
    for (int k = 0; k < around; ++k) at(direction(elevation, 2 * std::numbers::pi * k / around));
    if (search.elevation_rad) return;
  }
}

}  // namespace

double GlintSun::facets(const Eigen::Vector3d& to_viewer) const {
  return relative_density(to_sun, to_viewer, mean_square_slope);
}

double GlintSun::odds(const Eigen::Vector3d& to_viewer) const {
  // Some flecks are always afloat, however few have been seen.
  constexpr double kLeastBackground = 2e-4, kMost = 8;
  const double background = std::max(background_rate, kLeastBackground);
  return std::clamp(std::log(peak_rate * facets(to_viewer) / background + 1e-9), -kMost, kMost);
}

std::optional<GlintSun> sun_from_glint(const std::vector<GlintSample>& all, const SkySearch& search) {
  const std::vector<GlintSample> samples = gathered(all, search.direction_step);
  double glint = 0, weight = 0;
  for (const GlintSample& s : samples) glint += s.weight * s.glint_share, weight += s.weight;
  if (weight <= 0 || glint <= 0) return std::nullopt;
  const double mean_rate = glint / weight;

  GlintSun best;
  best.evidence = -1;
  const auto consider = [&](const Eigen::Vector3d& to_sun, double slope) {
    const GlintSun sun = fitted(samples, to_sun, slope, mean_rate);
    if (sun.evidence > best.evidence) best = sun;
  };
  over_the_sky(search, [&](const Eigen::Vector3d& to_sun) {
    for (const double slope : {0.002, 0.006, 0.018}) consider(to_sun, slope);
  });
  if (best.evidence < 0) return std::nullopt;
  for (double step_deg = search.step_deg / 2; step_deg > 0.25; step_deg /= 2) {
    const Eigen::Vector3d from = best.to_sun;
    const double elevation = std::asin(from.z()), azimuth = std::atan2(from.x(), from.y()),
                 slope = best.mean_square_slope;
    for (int up = -1; up <= 1; ++up)
      for (int along = -1; along <= 1; ++along)
        for (const double factor : {0.7, 1.0, 1.4}) {
          const double raised = search.elevation_rad
                                    ? elevation
                                    : std::min(89.9 * kDegree, elevation + up * step_deg * kDegree);
          consider(direction(raised, azimuth + along * step_deg * kDegree / std::max(0.1, std::cos(raised))),
                   std::clamp(slope * factor, 0.0008, 0.04));
        }
  }
  // One sun must say much more than chance does, and glint must be concentrated about its mirror point.
  constexpr double kLeastContrast = 5;
  if (best.evidence < search.least_evidence || best.peak_rate < kLeastContrast * best.background_rate)
    return std::nullopt;
  best.sigma_rad = direction_sigma_rad(samples, best, mean_rate);
  return best;
}

std::vector<GlintSample> glint_samples(const SearchedFrame& frame, const PlacedCamera& place) {
  constexpr int kCellPx = 16;
  constexpr uchar kSureWater = 153;  // 0.6
  std::vector<GlintSample> samples;
  const cv::Mat water = frame.water > kSureWater;
  const double scale = static_cast<double>(place.camera.width_px) / water.cols;
  for (int top = 0; top + kCellPx <= water.rows; top += kCellPx)
    for (int left = 0; left + kCellPx <= water.cols; left += kCellPx) {
      const cv::Rect cell(left, top, kCellPx, kCellPx);
      const int wet = cv::countNonZero(water(cell));
      if (wet < kCellPx * kCellPx / 2) continue;
      const Point2<StoredPx> middle{(left + 0.5 * kCellPx) * scale - 0.5,
                                    (top + 0.5 * kCellPx) * scale - 0.5};
      const Eigen::Vector3d to_viewer =
          -(place.pose.world_from_camera * place.camera.ray(place.camera.undistort(middle)));
      if (to_viewer.z() <= 0.05) continue;
      const double glint = cv::sum(frame.glint(cell))[0] / 255;
      samples.push_back({to_viewer.normalized(), std::min(1.0, glint / wet), 1});
    }
  return samples;
}

namespace {

// A coarse picture of `value` by the direction that each spot of a frame is seen from; 0 at and above the
// horizon.
cv::Mat over_directions(const PlacedCamera& place, cv::Size working_size,
                        const std::function<double(const Eigen::Vector3d&)>& value) {
  constexpr int kColumns = 64;
  const int rows = std::max(1, kColumns * working_size.height / std::max(1, working_size.width));
  cv::Mat picture = cv::Mat::zeros(rows, kColumns, CV_32FC1);
  for (int row = 0; row < rows; ++row)
    for (int column = 0; column < kColumns; ++column) {
      const Point2<StoredPx> stored{(column + 0.5) * place.camera.width_px / kColumns - 0.5,
                                    (row + 0.5) * place.camera.height_px / rows - 0.5};
      const Eigen::Vector3d to_viewer =
          -(place.pose.world_from_camera * place.camera.ray(place.camera.undistort(stored))).normalized();
      if (to_viewer.z() > 0) picture.at<float>(row, column) = static_cast<float>(value(to_viewer));
    }
  return picture;
}

}  // namespace

float odds_of_facets(double relative_density) {
  constexpr double kSomethingElse = 0.01, kMost = 8;
  return static_cast<float>(std::clamp(std::log(relative_density / kSomethingElse + 1e-9), -kMost, kMost));
}

GlintPrior glint_prior(const GlintSun& sun, const PlacedCamera& place, cv::Size working_size) {
  return {over_directions(place, working_size, [&](const Eigen::Vector3d& v) { return sun.odds(v); })};
}

cv::Mat glitter_of(const GlintSun& sun, const PlacedCamera& place) {
  constexpr double kLeastDensity = 0.05;
  return over_directions(place, {place.camera.width_px, place.camera.height_px},
                         [&](const Eigen::Vector3d& v) { return sun.facets(v); }) > kLeastDensity;
}

}  // namespace lookdown::glare
