#include "stages/level/lines/offset_slope.h"

#include <algorithm>
#include <cmath>

#include "pipeline/base/robust_statistics.h"

namespace lookdown::level {
namespace {

/// How many profiles have a step on the slanted line, each weighted by the step's rank at its profile.
double consensus(const std::vector<EdgeResponse>& steps, const OffsetSlope& course, double tolerance) {
  double total = 0, best_here = 0, strongest_here = 1;
  int profile = -1;
  for (const EdgeResponse& step : steps) {
    if (step.profile != profile) {
      total += best_here;
      best_here = 0;
      profile = step.profile;
      strongest_here = std::abs(step.height) + 1e-6;
    }
    const double miss = (step.across_px - course.at(step.along_px)) / tolerance;
    if (std::abs(miss) >= 1) continue;
    const double sign_weight = step.height > 0 ? 1.0 : 0.5;
    best_here = std::max(best_here, sign_weight * (1 - miss * miss) * std::abs(step.height) / strongest_here);
  }
  return total + best_here;
}

}  // namespace

OffsetSlope most_agreed(const EdgeResponses& responses, double length, double tolerance) {
  std::vector<const EdgeResponse*> thinned;
  const int stride = std::max(1, responses.profiles / 20);
  int last_profile = -1, taken = 0;
  for (const EdgeResponse& step : responses.steps) {
    taken = step.profile == last_profile ? taken + 1 : 0;
    last_profile = step.profile;
    if (step.profile % stride == 0 && taken < 2) thinned.push_back(&step);
  }
  OffsetSlope best;
  double most = consensus(responses.steps, best, tolerance);
  for (std::size_t i = 0; i < thinned.size(); ++i)
    for (std::size_t j = i + 1; j < thinned.size(); ++j) {
      const double run = thinned[j]->along_px - thinned[i]->along_px;
      if (run < 0.25 * length) continue;
      OffsetSlope course;
      course.slope = (thinned[j]->across_px - thinned[i]->across_px) / run;
      course.offset = thinned[i]->across_px - course.slope * thinned[i]->along_px;
      const double agreed = consensus(responses.steps, course, tolerance);
      if (agreed > most) {
        most = agreed;
        best = course;
      }
    }
  return best;
}

std::vector<EdgeResponse> nearest_responses(const std::vector<EdgeResponse>& steps, const OffsetSlope& course,
                                            double window) {
  std::vector<EdgeResponse> nearest;
  for (const EdgeResponse& step : steps) {
    const double miss = std::abs(step.across_px - course.at(step.along_px));
    if (miss > window) continue;
    if (!nearest.empty() && nearest.back().profile == step.profile) {
      if (miss < std::abs(nearest.back().across_px - course.at(nearest.back().along_px)))
        nearest.back() = step;
    } else {
      nearest.push_back(step);
    }
  }
  return nearest;
}

std::optional<OffsetSlope> weighted_fit(const std::vector<EdgeResponse>& steps, const OffsetSlope& about,
                                        const std::function<double(double)>& weight_of, double least_weight) {
  double w = 0, wx = 0, wy = 0, wxx = 0, wxy = 0;
  for (const EdgeResponse& s : steps) {
    const double weight = weight_of(s.across_px - about.at(s.along_px));
    w += weight;
    wx += weight * s.along_px;
    wy += weight * s.across_px;
    wxx += weight * s.along_px * s.along_px;
    wxy += weight * s.along_px * s.across_px;
  }
  const double spread = w * wxx - wx * wx;
  if (w < least_weight || spread <= 1e-9 * w * wxx) return std::nullopt;
  OffsetSlope course;
  course.slope = (w * wxy - wx * wy) / spread;
  course.offset = (wy - course.slope * wx) / w;
  return course;
}

OffsetSlope robust_fit(const std::vector<EdgeResponse>& steps, OffsetSlope course, double least_scale) {
  for (int round = 0; round < 8; ++round) {
    std::vector<double> misses;
    misses.reserve(steps.size());
    for (const EdgeResponse& s : steps) misses.push_back(std::abs(s.across_px - course.at(s.along_px)));
    const double cut = 4.685 * std::max(least_scale, kSigmaOfMad * median_in_place(misses));
    const auto biweight = [cut](double miss_px) {
      const double r = miss_px / cut;
      return std::abs(r) >= 1 ? 0.0 : (1 - r * r) * (1 - r * r);
    };
    const auto next = weighted_fit(steps, course, biweight, 3);
    if (!next) break;
    course = *next;
  }
  return course;
}

Eigen::Vector3d line_of(const LineFrame& frame, const OffsetSlope& course) {
  const Eigen::Vector2d normal = (frame.to_sky - course.slope * frame.along).normalized();
  const Eigen::Vector2d point = frame.foot + course.offset * frame.to_sky;
  return {normal.x(), normal.y(), -normal.dot(point)};
}

}  // namespace lookdown::level
