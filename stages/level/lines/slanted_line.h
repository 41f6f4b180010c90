// Lines that run at a slant through the stations of a first line.
#pragma once

#include <Eigen/Core>
#include <vector>

#include "stages/level/lines/edge_profiles.h"

namespace lookdown::level {

/// across = offset + slope * along, in the frame of the first line.
struct Slant {
  double offset = 0;
  double slope = 0;
  [[nodiscard]] double at(double along) const { return offset + slope * along; }
};

/// The slanted line that most stations agree on, from all pairs of a thinned set of steps; `length` is that
/// of the first line.
[[nodiscard]] Slant most_agreed(const Profiles&, double length, double tolerance);

/// The step of each station that lies nearest to the line, within `window`.
[[nodiscard]] std::vector<Step> nearest_steps(const std::vector<Step>&, const Slant&, double window);

/// Tukey's biweight fit by re-weighted least squares, started from `slant`; `least_scale` bounds the spread
/// of the residuals from below, pixels.
[[nodiscard]] Slant robust_fit(const std::vector<Step>&, Slant slant, double least_scale);

/// The line that `slant` is, seen from `frame`: a x + b y + c = 0 with unit normal to the sky.
[[nodiscard]] Eigen::Vector3d line_of(const LineFrame& frame, const Slant& slant);

/// Middle of the values (upper one of an even number); 0 of none.
[[nodiscard]] double median(std::vector<double> values);

}  // namespace lookdown::level
