// Between the rounds of an adjustment: what does not fit is left out, and how well the rest does.
#pragma once

#include <vector>

#include "stages/place/group.h"

namespace lookdown::place {

/// Removes sightings far beyond the spread of the rest, and points that are seen once after that. Limit:
/// `times` the standard deviation by the median distance, at least three sigmas of a sighting. Returns how
/// many were dropped.
int drop_outliers(Network&, double times);

/// The frame with the most sightings: it may hold the whole in place.
[[nodiscard]] int busiest_frame(const Network&);

/// In units of a sighting's sigma; 1e6 where there is no sighting.
[[nodiscard]] std::vector<double> median_residual_of_frames(const Network&);
[[nodiscard]] double median_residual(const Network&);

/// The lens as now known goes to the members' keypoints.
void take_lens(std::vector<TieFrame>&, const Group&);

}  // namespace lookdown::place
