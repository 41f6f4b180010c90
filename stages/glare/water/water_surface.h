// Water told from land in one picture by what a level, moving, absorbing surface looks like: even in colour,
// without dark detail of its own (what glitters on it is brighter than it, never darker), not bright by
// itself. Private to the stage (and its tests and benchmark).
#pragma once

#include <opencv2/core.hpp>

#include "stages/glare/water/look.h"

namespace lookdown::glare {

/// Log-odds of water by the look of the surroundings, CV_32FC1, half the working size. They blur outlines by
/// the width of what they look at, about a fortieth of the picture.
struct WaterCues {
  cv::Mat evenness;  ///< no dark detail, even colour; the prior is in it
  cv::Mat colour;    ///< at most 0: as red, green or yellow as land is
  [[nodiscard]] cv::Mat log_odds() const { return evenness + colour; }
  /// The same where colour tells less, as far as a place is known by something else to be like water:
  /// `like_water`, 0..1, CV_32FC1.
  [[nodiscard]] WaterCues with_colour_doubted(const cv::Mat& like_water) const;
};
[[nodiscard]] WaterCues water_cues(const SurfaceLook&);
/// Log-odds of water by the evenness of a patch alone, in `WaterCues`' scale.
[[nodiscard]] float evenness_of(const Look&);

/// CV_8UC1, half the working size: 255 where water lies. From places that `log_odds` is sure of to the
/// outline of what has their colour; regions that are nowhere sure, or tiny, are not water.
[[nodiscard]] cv::Mat water_mask(const SurfaceLook&, const cv::Mat& log_odds);

}  // namespace lookdown::glare
