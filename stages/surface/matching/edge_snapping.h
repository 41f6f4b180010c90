// Steps of the surface brought to the edges of the pictures.
#pragma once

#include <opencv2/core.hpp>
#include <vector>

#include "pipeline/record/run_context.h"
#include "stages/surface/matching/height_sweep.h"
#include "stages/surface/matching/sweep_views.h"

namespace lookdown::surface {

/// Near a step of more than `wall` (world units) every node gets the height of that side which its likes
/// around it belong to: a vote of the neighbourhood, weighted by likeness in the straightest views (Yoon &
/// Kweon, IEEE TPAMI 28(4):650-656, 2006; Ma et al., "Constant time weighted median filtering for stereo
/// matching and beyond", ICCV 2013). The pictures are rectified onto the upper side and on as if it did not
/// end there: a view then shows the upper side at its true outline, however it leans, and something else
/// beyond. `heights`: CV_32FC1 over the grid, none missing; `known` (CV_8UC1): what is not counts less. The
/// answer does not depend on the number of threads; a tile whose pictures can no longer be read stays as it
/// is.
void snap_to_edges(const NodeGrid&, const cv::Mat& known, double wall, const std::vector<SweepView>&,
                   SweepPictures&, RunContext&, cv::Mat& heights);

/// The part of it that looks at no frame, for one tile (CV_32FC1, world units): `upper` gives heights of the
/// upper side of each step, carried on over the lower one (elsewhere the heights themselves), `lower` the
/// other way round; `at_step` (CV_8UC1) is 255 near a step of more than `wall` where both differ by more than
/// half of it.
struct Sides {
  cv::Mat upper, lower, at_step;
};
[[nodiscard]] Sides sides_of_steps(const cv::Mat& heights, double wall);

/// New heights of the tile by one vote of the nodes where `where` is not 0. `looks`: CV_8UC1 pictures
/// rectified onto `sides.upper`, 0 where a view shows nothing.
[[nodiscard]] cv::Mat vote_for_sides(const cv::Mat& heights, const cv::Mat& known, const Sides& sides,
                                     const std::vector<cv::Mat>& looks, const cv::Mat& where);

}  // namespace lookdown::surface
