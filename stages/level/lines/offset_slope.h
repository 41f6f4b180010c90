// Lines that run at an angle through the profiles of a first line, as offset and slope.
#pragma once

#include <Eigen/Core>
#include <functional>
#include <optional>
#include <vector>

#include "stages/level/lines/edge_profiles.h"

namespace lookdown::level {

/// across = offset + slope * along, in the frame of the first line.
struct OffsetSlope {
  double offset = 0;
  double slope = 0;
  [[nodiscard]] double at(double along) const { return offset + slope * along; }
};

/// The slanted line that most profiles agree on, from all pairs of a thinned set of steps; `length` is that
/// of the first line.
[[nodiscard]] OffsetSlope most_agreed(const EdgeResponses&, double length, double tolerance);

/// The step of each profile that lies nearest to the line, within `window`.
[[nodiscard]] std::vector<EdgeResponse> nearest_responses(const std::vector<EdgeResponse>&,
                                                          const OffsetSlope&, double window);

/// Least squares with the weight that `weight_of` gives each step for its miss of `about` in pixels (signed).
/// Empty where the weights sum to less than `least_weight` or their steps lie in one place along the line.
[[nodiscard]] std::optional<OffsetSlope> weighted_fit(const std::vector<EdgeResponse>&,
                                                      const OffsetSlope& about,
                                                      const std::function<double(double)>& weight_of,
                                                      double least_weight = 0);

/// Tukey's biweight fit by re-weighted least squares, started from `course`; `least_scale` bounds the spread
/// of the residuals from below, pixels.
[[nodiscard]] OffsetSlope robust_fit(const std::vector<EdgeResponse>&, OffsetSlope course,
                                     double least_scale);

/// The line that `course` is, seen from `frame`: a x + b y + c = 0 with unit normal to the sky.
[[nodiscard]] Eigen::Vector3d line_of(const LineFrame& frame, const OffsetSlope& course);

}  // namespace lookdown::level
