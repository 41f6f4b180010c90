// Heights of one level of detail over the whole grid, tile by tile.
#pragma once

#include <Eigen/Core>
#include <opencv2/core.hpp>

#include "pipeline/record/run_context.h"
#include "stages/surface/matching/sweep_views.h"

namespace lookdown::surface {

/// The nodes of a level in the world.
struct NodeGrid {
  int columns = 0, rows = 0;
  Eigen::Matrix3d ground_from_node = Eigen::Matrix3d::Identity();  ///< of (column, row); last row 0 0 1
  double pitch = 1;                                                ///< world units between nodes
};

/// Where heights are looked for: from `base + lowest` to `base + highest` at every node.
struct SearchRange {
  cv::Mat base;             ///< CV_32FC1 over the grid, smooth
  cv::Mat lowest, highest;  ///< CV_32FC1, the same size: offsets
};

/// What a level has found.
struct FoundHeights {
  cv::Mat heights;   ///< CV_32FC1; where confidence is 0 they mean nothing
  cv::Mat agreeing;  ///< CV_8UC1: how many views agree on the height; 0: not known
  cv::Mat told;  ///< CV_8UC1: 255 where two views show the place under enough of the heights in question, and
                 ///< alike at the one found
};

/// Adds a warning for tiles that lack frames which can no longer be read. The answer does not depend on the
/// number of threads.
[[nodiscard]] FoundHeights sweep_heights(const NodeGrid&, const SearchRange&, const std::vector<SweepView>&,
                                         SweepPictures&, RunContext&, FlightRecord&);

}  // namespace lookdown::surface
