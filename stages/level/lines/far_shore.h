// The far waterline of a lake or river below hills: level ground where no level skyline is seen.
#pragma once

#include <opencv2/core.hpp>
#include <optional>
#include <vector>

#include "pipeline/geometry/camera.h"
#include "stages/level/search/horizon_line.h"

namespace lookdown::level {

/// A waterline and how far above it the skyline stands at the middle of the picture, pixels.
struct FarShore {
  RefinedLine waterline;
  double land_above_px = 0;
};

/// For a picture whose likeliest horizon (`guesses` as from horizon_guesses) is neither believed nor out of
/// the question: an edge below it that is straight and goes the same way across the whole picture, with
/// ground below that is smoother than the land above. Hills make a skyline uneven; still water reaches its
/// far shore in a level line. Seen from low over the water that line is nearly the horizon; from higher up it
/// lies below, so that it tells roll better than pitch. Empty when there is none.
[[nodiscard]] std::optional<FarShore> find_far_shore(const cv::Mat3b& bgr, const Camera&,
                                                     const std::vector<HorizonGuess>& guesses);

}  // namespace lookdown::level
