// EdgeResponses across a line and the steps on them.
#pragma once

#include <Eigen/Core>
#include <opencv2/core.hpp>
#include <vector>

#include "pipeline/geometry/camera.h"

namespace lookdown::level {

/// A line in undistorted pixels as a foot point with directions along and to the sky.
struct LineFrame {
  Eigen::Vector2d foot, along, to_sky;
  double first = 0, last = 0;  ///< extent along the line that lies in the picture
};

/// Frame of a x + b y + c = 0 (unit normal), its foot under the centre of the picture, cut to the picture's
/// sides.
[[nodiscard]] LineFrame line_frame(const Eigen::Vector3d& line, const cv::Size& size);

/// Values across one profile of a line, lowest (ground side) first; NaN outside the picture.
struct Profile {
  double along_px = 0;
  std::vector<Eigen::Vector3f> colours;
};

/// Profiles along a line, sampled across it.
struct Profiles {
  std::vector<Profile> all;
  int half_count = 0;  ///< samples on either side of the line
  double step_px = 1;  ///< between samples
  /// Position across the line of a sample, positive to the sky.
  [[nodiscard]] double across_px(double sample) const { return (sample - half_count) * step_px; }
};

inline constexpr int kMostProfiles = 240;

/// Samples `blurred` (8-bit BGR, lightly smoothed) across the line over +-reach_px, at up to `most` profiles.
[[nodiscard]] Profiles sample_profiles(const cv::Mat3b& blurred, const Camera&, const LineFrame&,
                                       double reach_px, int most = kMostProfiles);

/// Colour direction that parts the two sides best (Fisher's discriminant), unit length, larger on the sky
/// side.
[[nodiscard]] Eigen::Vector3f fisher_direction(const Profiles&);

/// A possible edge at one profile.
struct EdgeResponse {
  int profile = 0;
  double along_px = 0;   ///< position along the line
  double across_px = 0;  ///< position across it, positive to the sky, sub-pixel
  double height = 0;     ///< signed: positive where it goes the way the two sides differ as a whole
};

/// All profiles of one line at one reach.
struct EdgeResponses {
  int profiles = 0;
  std::vector<EdgeResponse> steps;  ///< up to three a profile, strongest first within a profile
  double sky_noise = 0;             ///< spread of step responses where there should be none, on the sky side
};

/// Steps along the parting direction, seen with a window of half_width_px a side.
[[nodiscard]] EdgeResponses edge_responses(const Profiles&, double half_width_px);
/// The same along a given colour direction.
[[nodiscard]] EdgeResponses edge_responses(const Profiles&, double half_width_px,
                                           const Eigen::Vector3f& direction);

}  // namespace lookdown::level
