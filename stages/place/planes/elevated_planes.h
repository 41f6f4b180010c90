// Horizontal planes off the ground: where many tie points that stand off it lie at one height.
#pragma once

#include <Eigen/Core>
#include <vector>

#include "stages/place/group.h"

namespace lookdown::place {

/// A roof of one height, or several of the same. World units of the group.
struct LevelPlane {
  double height = 0;
  double sigma = 0;  ///< standard deviation of the height, given the scale of the ground
  std::vector<std::vector<Eigen::Vector2d>> outlines;  ///< round the tie points of each part
  int tie_points = 0;
};

/// Largest first. A plane needs tie points close together at one height, hardly any at another height among
/// them (undergrowth and slopes have those), and no slope.
[[nodiscard]] std::vector<LevelPlane> level_planes(const std::vector<TieFrame>&, const Group&);

}  // namespace lookdown::place
