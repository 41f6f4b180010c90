// The horizon in a picture: search, refinement, decision.
#pragma once

#include <opencv2/core.hpp>
#include <optional>

#include "pipeline/camera.h"
#include "stages/level/horizon_refine.h"

namespace lookdown::level {

/// A line that may be the horizon, with what speaks for it.
struct HorizonGuess {
  RefinedLine refined;
  Evidence evidence{};
  double log_odds = 0;
};

/// Best line of an 8-bit BGR picture whose camera is at its size; `orientation` is the Exif value. Empty when
/// the picture has no line worth naming at all; a guess with negative log-odds is more likely not a horizon.
[[nodiscard]] std::optional<HorizonGuess> best_horizon_guess(const cv::Mat3b& bgr, const Camera&,
                                                             int orientation);

}  // namespace lookdown::level
