// Where sharp ends: fixed widths, or what each camera of the flight leaves at best.
#pragma once

#include <map>
#include <optional>
#include <string>
#include <vector>

#include "pipeline/record/flight_record.h"
#include "stages/cull/cull.h"

namespace lookdown::cull {

/// Full width at half maximum of a Gaussian of standard deviation 1: 2 sqrt(2 ln 2).
inline constexpr double kFwhmOfSigma = 2.354820045;

/// Where a limit comes from.
enum class LimitFrom { option, camera, too_few_frames, no_sharp_frame };

struct BlurLimits {
  double blur_fwhm_px = 0;  ///< full width at half maximum above which a frame counts as blurred
  double smear_px = 0;      ///< length above which it counts as smeared
  LimitFrom from = LimitFrom::too_few_frames;
  double border_odds = 0;      ///< of sharp against blurred, where sharp ends for this camera; 0: not known
  double least_sharpness = 0;  ///< below it a frame whose width passes is unsure; 0: no say
  /// What the sharp frames of this camera seem to be smeared by, all in the same direction: astigmatism, a
  /// lens out of centre, rows read apart. 0: nothing.
  double own_smear_px = 0, own_smear_deg = 0;

  /// Sharpness::sharpness of a frame by this camera.
  [[nodiscard]] std::optional<double> sharpness_of(const Sharpness&) const;
  /// Length of a smear, squares subtracted, that this camera does not show in its sharp frames too.
  [[nodiscard]] double moved_px(const Sharpness&) const;
};

class FlightBlurLimits {
 public:
  /// Frames of one camera (FrameInfo::camera_id) share body, lens, focal length and coding, so the sharpest
  /// of them show what "sharp" is here (comparison within the set: Sieberth, Wackrow & Chandler, ISPRS J.
  /// 122:1-16, 2016). A frame counts as blurred when motion or defocus adds a certain width to that, squares
  /// subtracted, for variances of blurs add, and as soft when its odds of being sharp are far below theirs.
  /// With fewer than 8 frames that tell, without a sharp one among them, or with a limit given, the limit is
  /// fixed.
  FlightBlurLimits(const std::vector<FrameRecord>&, const Options&);
  [[nodiscard]] const BlurLimits& of(const FrameRecord&) const;

 private:
  std::map<std::string, BlurLimits> by_camera_;
};

}  // namespace lookdown::cull
