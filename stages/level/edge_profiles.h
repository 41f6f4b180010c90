// Profiles across a line and the steps on them.
#pragma once

#include <Eigen/Core>
#include <opencv2/core.hpp>
#include <vector>

#include "pipeline/camera.h"

namespace lookdown::level {

/// A line in undistorted pixels as a foot point with directions along and to the sky.
struct LineFrame {
  Eigen::Vector2d foot, along, to_sky;
  double first = 0, last = 0;  ///< extent along the line that lies in the picture
};

/// Frame of a x + b y + c = 0 (unit normal), its foot under the centre of the picture, cut to the picture's
/// sides.
[[nodiscard]] LineFrame line_frame(const Eigen::Vector3d& line, const cv::Size& size);

/// A possible edge at one station.
struct Step {
  int station = 0;
  double along_px = 0;   ///< position along the line
  double across_px = 0;  ///< position across it, positive to the sky, sub-pixel
  double height = 0;     ///< signed: positive where it goes the way the two sides differ as a whole
};

/// All stations of one line at one reach.
struct Profiles {
  int stations = 0;
  std::vector<Step> steps;  ///< up to three a station, strongest first within a station
  double sky_noise = 0;     ///< spread of step responses where there should be none, on the sky side
};

/// Samples `blurred` (8-bit BGR, lightly smoothed) across the line over +-reach_px, projects on the colour
/// direction that parts the two sides best (Fisher's discriminant) and keeps the steps seen with a window of
/// half_width_px a side.
[[nodiscard]] Profiles profiles_across(const cv::Mat3b& blurred, const Camera&, const LineFrame&,
                                       double reach_px, double half_width_px);

}  // namespace lookdown::level
