// The pose of one frame from points on the ground plane whose positions are known.
#pragma once

#include <Eigen/Core>
#include <optional>
#include <vector>

#include "pipeline/geometry/camera.h"
#include "pipeline/geometry/pose.h"

namespace lookdown::place {

/// A spot on the plane z = 0 and where the frame shows it.
struct GroundSight {
  Point2<Ground> ground;
  Point2<UndistortedPx> at;
};

struct Resected {
  Pose pose;
  int agreeing = 0;  ///< sights within the tolerance
};

/// Pose by a robust homography and its decomposition K^-1 H ~ [r1 r2 t] (Zhang, IEEE PAMI 22:1330, 2000,
/// sec. 3.1), camera above the ground. Empty when fewer than 10 sights agree within `tolerance_px` or less
/// than a third do.
[[nodiscard]] std::optional<Resected> resect(const std::vector<GroundSight>&, const Camera&,
                                             double tolerance_px);

}  // namespace lookdown::place
