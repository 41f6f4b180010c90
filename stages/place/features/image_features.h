// A frame as the search for ties sees it, and a tie: two frames that show the same ground.
#pragma once

#include <Eigen/Core>
#include <vector>

#include "pipeline/geometry/camera.h"
#include "pipeline/geometry/pixel_spaces.h"
#include "stages/place/features/descriptor_match.h"
#include "stages/place/features/features.h"

namespace lookdown::place {

/// A frame that takes part in placing.
struct TieFrame {
  int record = -1;  ///< index in FlightRecord::frames
  Camera camera;    ///< best known so far
  FrameFeatures features;
  WideDescriptors leading;                         ///< of the most dependable spots, for the first look
  std::vector<Point2<UndistortedPx>> undistorted;  ///< of every spot, by `camera`
  double blur_px = 0;        ///< full width at half maximum of the blur; 0 = not known or sharp
  bool bridge_only = false;  ///< dropped for blur: may connect others, weighs less
};

/// Fills `undistorted` from `camera`.
void undistort_spots(TieFrame&);

/// Standard error of a spot's position, pixels of the searched copy.
inline constexpr double kSpotSigma = 0.5;

/// The same as it counts in an adjustment, pixels of the frame as stored: twice as much of a frame that only
/// connects others.
[[nodiscard]] inline double spot_sigma_px(const TieFrame& frame) {
  return kSpotSigma / double(frame.features.work_scale) * (frame.bridge_only ? 2 : 1);
}

/// Two frames joined by matches that obey one homography.
struct Tie {
  int a = 0;  ///< index of the frame in the list of TieFrames, a < b
  int b = 0;
  Homography<UndistortedPx, UndistortedPx> b_from_a;
  std::vector<Match> matches;
};

}  // namespace lookdown::place
