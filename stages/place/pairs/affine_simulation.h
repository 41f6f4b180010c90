// A last look at pairs that resist: views of each frame tilted in several directions are simulated and
// compared (affine-invariant matching, Morel & Yu, SIAM J. Imaging Sci. 2:438, 2009). Costs seconds a pair,
// so it is for a few frames that nothing else could tie.
#pragma once

#include <optional>
#include <vector>

#include "stages/place/features/image_features.h"

namespace cv {
class Mat;
}

namespace lookdown::place {

/// Spots of simulated views, positions and directions as in the frame as stored.
using TiltedViews = std::vector<FrameFeatures>;

/// The frame itself and views of it tilted by up to 75 degrees. `grey` shows the frame at any reduction.
[[nodiscard]] TiltedViews tilted_views(const cv::Mat& grey, int width_px, int height_px);

/// Which simulated views are held against each other. One side is enough when one of the frames looks down,
/// and costs a fourteenth.
enum class Simulate { one_side, both_sides };

/// Ties two frames by their tilted views; the spots that agree are added to both frames (and undistorted).
/// Empty when too few agree.
[[nodiscard]] std::optional<Tie> tie_tilted(std::vector<TieFrame>&, int a, const TiltedViews& views_a, int b,
                                            const TiltedViews& views_b, Simulate);

}  // namespace lookdown::place
