// Finds what does not lie on the plane, or moved: where frames that are aligned on the plane show different
// things.
#pragma once

#include <opencv2/core.hpp>
#include <vector>

#include "stages/mosaic/overview/label_map.h"
#include "stages/mosaic/seams/saliency.h"

namespace lookdown::mosaic {

/// CV_8UC1 over the survey, 255 on things that stand off the plane or move, their insides included: a roof is
/// as even inside as the ground, but the places where its outline falls in the different frames ring it.
/// Rings too large for one frame are left open.
[[nodiscard]] cv::Mat things_off_plane(const Survey&, const std::vector<Structure>&, const LabelMap&);

}  // namespace lookdown::mosaic
