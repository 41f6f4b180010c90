// Steps of the surface brought to the edges of the pictures.
#pragma once

#include <opencv2/core.hpp>
#include <vector>

#include "pipeline/record/run_context.h"
#include "stages/surface/matching/height_sweep.h"
#include "stages/surface/matching/sweep_views.h"

namespace lookdown::surface {

/// Near a step of more than `wall` (world units) every node gets the height of that side which the views
/// speak for (SideLikeness), by the cheapest cut between both. `heights`: CV_32FC1 over the grid, none
/// missing; on `water` (CV_8UC1) views say nothing. The answer does not depend on the number of threads; a
/// tile whose pictures can no longer be read stays as it is.
void snap_to_edges(const NodeGrid&, const cv::Mat& water, double wall, const std::vector<SweepView>&,
                   SweepPictures&, RunContext&, cv::Mat& heights);

/// For one tile (CV_32FC1, world units): `upper` gives heights of the
/// upper side of each step, carried on over the lower one (elsewhere the heights themselves), `lower` the
/// other way round; `at_step` (CV_8UC1) is 255 near a step of more than `wall` where both differ by more than
/// half of it.
struct Sides {
  cv::Mat upper, lower, at_step;
};
[[nodiscard]] Sides sides_of_steps(const cv::Mat& heights, double wall);

/// Code values that speak for the side on which a node lies already: where the views say something of it, and
/// where they say nothing.
struct Inertia {
  float told = 0, untold = 0;
};
inline constexpr Inertia kNoInertia{};
/// Of steps that lie about right.
inline constexpr Inertia kNearly{1.5F, 5};

/// Heights of the tile where the nodes at the step take one of both sides: the cheapest cut (Boykov & Jolly,
/// ICCV 2001) between what the views say of each (`likeness`, code values, > 0 for the upper side) and a
/// border that costs least along the edges of `look` (CV_8UC1, rectified onto `sides.upper`, 0 where nothing
/// is shown).
[[nodiscard]] cv::Mat cut_between_sides(const cv::Mat& heights, const Sides& sides, const cv::Mat& likeness,
                                        const cv::Mat& look, const Inertia& = kNearly);

}  // namespace lookdown::surface
