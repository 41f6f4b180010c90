// Heights of what a frame shows, where a flight's ground has relief: laid over one another by one plane,
// views of solid ground would match nowhere off that plane, as if it were water. Private to the stage (and
// its tests and benchmarks).
#pragma once

#include <opencv2/core.hpp>
#include <vector>

#include "stages/glare/across/view_comparison.h"

namespace lookdown::glare {

/// Heights to look at, world units of the poses.
struct HeightRange {
  double lowest = 0, highest = 0;
  [[nodiscard]] bool flat() const { return !(lowest < highest); }
};
/// What placing knows of the heights below `place`; flat where it found no relief.
[[nodiscard]] HeightRange heights_to_look_at(const FlightPlacement&, const PlacedCamera& place);

/// Height of what the frame shows in each tile of its detail (CV_32FC1, world units): that at which the views
/// are most alike, found on a copy of a quarter of the working size by laying them over the frame at one
/// height after the other (plane sweep: Collins, "A space-sweep approach to true multi-image matching", CVPR
/// 1996), and smooth between places where they are. Empty in a flat range, without views, and for frames too
/// small for it.
[[nodiscard]] cv::Mat seen_heights(const SearchedFrame& own, const PlacedCamera& own_place,
                                   const std::vector<PlacedView>& others, const HeightRange&);

}  // namespace lookdown::glare
