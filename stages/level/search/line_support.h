// What the picture at working size says about a fitted line, beside the fit itself.
#pragma once

#include "stages/level/lines/edge_profiles.h"

namespace lookdown::level {

/// Terms from the responses across the final line.
struct ProfileTerms {
  /// Strongest other step on the sky side of the mean profile, as a share of the line's own: within two
  /// fifths of the reach (a strip of far land) and beyond (clouds).
  double step_close_above_share = 0, step_above_share = 0;
  /// Log of the spread along the line of the sky side over that of the ground side.
  double along_sky_to_ground = 0;
  /// Log of 1 + the line's own step in the mean profile over the spread along the sky side.
  double own_step = 0;
  /// Log of the mean unevenness a pixel across the line over that along it, on either side: things far away
  /// on level ground (and clouds) are seen edge on, while a shore below the camera looks the same all ways.
  double layering_sky = 0, layering_ground = 0;
};

/// `profiles` were sampled about the final line. A strip of far land taken for sky shows as a second step
/// above the line.
[[nodiscard]] ProfileTerms profile_terms(const Profiles&);

}  // namespace lookdown::level
