// The horizon in a picture: search, refinement, decision.
#pragma once

#include <opencv2/core.hpp>
#include <vector>

#include "pipeline/geometry/camera.h"
#include "stages/level/lines/horizon_refine.h"

namespace lookdown::level {

/// A line that may be the horizon, with what speaks for it.
struct HorizonGuess {
  RefinedLine refined;
  Evidence evidence{};
  double log_odds = 0;
};

/// Of coarse_horizon_log_odds, below which a frame shows no horizon anywhere and the fine search is spared:
/// of the pictures that the weights are learnt from, as they are, none of 312 with a horizon lies below -2,
/// and five sixths of 499 without lie below -3 (printed by train_horizon). Other light lowers it by one or
/// so.
inline constexpr double kLeastGlance = -3;

/// Lines of an 8-bit BGR picture that may be the horizon, likeliest first; the picture's camera is at its
/// size, `orientation` is the Exif value. Empty when the picture is too small, or a glance at it reduced
/// shows no horizon anywhere.
[[nodiscard]] std::vector<HorizonGuess> horizon_guesses(const cv::Mat3b& bgr, const Camera&, int orientation);

/// The same whatever the glance says, first lines being ordered by `region_weights`, for the making of the
/// weights.
[[nodiscard]] std::vector<HorizonGuess> guesses_without_glance(const cv::Mat3b& bgr, const Camera&,
                                                               int orientation,
                                                               const Evidence& region_weights);

}  // namespace lookdown::level
