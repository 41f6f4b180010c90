// From many guesses to one line and how sure it is.
#pragma once

#include <opencv2/core.hpp>
#include <vector>

#include "stages/level/search/horizon_line.h"

namespace lookdown::level {

/// The line that the guesses speak for. `roll_spread_rad` and `across_spread_px` are what the choice among
/// them leaves open: the spread of the others about it, each weighted by its likelihood, in angle and in
/// place across the line at the middle of the picture.
struct HorizonChoice {
  RefinedLine refined;
  double roll_spread_rad = 0, across_spread_px = 0;
};

/// `guesses` likeliest first and not empty. Of ridges behind each other the farthest is the horizon, although
/// haze makes it fainter than the near ones. A straight edge is taken as it is; over hills, where each way of
/// fitting cuts other peaks off, the mean of the likely lines along the same ridge is nearer to level than
/// any of them.
[[nodiscard]] HorizonChoice choose_horizon(const std::vector<HorizonGuess>& guesses, const cv::Size& picture);

/// The same from the picture (8-bit BGR, `camera` at its size) that the guesses were made on: over hills the
/// course of the whole skyline decides.
[[nodiscard]] HorizonChoice choose_horizon(const std::vector<HorizonGuess>& guesses, const cv::Mat3b& bgr,
                                           const Camera& camera);

}  // namespace lookdown::level
