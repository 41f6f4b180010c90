// What counts as blurred: fixed limits in pixels, moved by what the flight itself shows.
#pragma once

#include <vector>

#include "stages/cull/cull.h"

namespace lookdown::cull {

struct BlurLimits {
  double blur_fwhm_px = 0;  ///< full width at half maximum above which a frame counts as blurred
  double smear_px = 0;      ///< length above which it counts as smeared
  bool blur_from_flight = false;
  double least_sharpness = 0;  ///< below it a frame whose width passes is unsure; 0: no say
};

/// Frames of one flight share lens, camera and subject, so the sharpest of them show what "sharp" is here
/// (comparison within the set: Sieberth, Wackrow & Chandler, ISPRS J. 122:1-16, 2016). A frame counts as
/// blurred when motion or defocus adds a certain width to that, squares subtracted; inside the band where
/// that border may lie it is put into the widest gap between the frames. With fewer than 8 frames that tell,
/// or with a limit given, the flight has no say.
[[nodiscard]] BlurLimits find_blur_limits(const std::vector<FrameRecord>&, const Options&);

}  // namespace lookdown::cull
