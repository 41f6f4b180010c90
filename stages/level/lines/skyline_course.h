// The straight course of a skyline of hills.
#pragma once

#include <Eigen/Core>
#include <opencv2/core.hpp>
#include <optional>

#include "pipeline/geometry/camera.h"

namespace lookdown::level {

/// A line with unit normal to the sky, undistorted pixels, and what ways of looking at the skyline leave
/// open.
struct SkylineCourse {
  Eigen::Vector3d line;
  double roll_spread_rad = 0;   ///< standard deviation over the ways
  double across_spread_px = 0;  ///< at the middle of the picture
};

/// The course of the skyline about `line`, hills and gaps between them counting alike: the line of least
/// absolute deviations (half of the skyline lies above it; Koenker & Bassett, Econometrica 46:33, 1978),
/// which a single hill with a straight slope does not draw to itself as it does a line that most points agree
/// on. How far above and below it is looked decides what passes for sky; the middle of what several reaches
/// and `line` itself say is taken. `blurred` is 8-bit and lightly smoothed, `camera` is at its size. None
/// where no reach shows a skyline.
[[nodiscard]] std::optional<SkylineCourse> skyline_course(const cv::Mat3b& blurred, const Camera& camera,
                                                          const Eigen::Vector3d& line);

}  // namespace lookdown::level
