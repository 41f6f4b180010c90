// Masks at the size of the frame and what they add up to. Private to the stage (and its tests and benchmark).
#pragma once

#include <opencv2/core.hpp>

#include "pipeline/record/flight_record.h"
#include "stages/glare/glint/sun_glint.h"

namespace lookdown::glare {

/// CV_8UC1, 0 or 255, size of the frame as stored. What glares is water.
struct FrameMasks {
  cv::Mat water, glare;
};
/// `water` and `glint` of working size or less, stretched over the frame; `luma`: CV_8UC1, the frame as
/// stored. A pixel is glare where the search marks it and it is brighter than the search's threshold.
[[nodiscard]] FrameMasks frame_masks(const cv::Mat& water, const Glint&, const cv::Mat& luma);

/// Shares and kind; the files are not named yet.
[[nodiscard]] Glare shares_of(const FrameMasks&, const Glint&);
/// Those of a frame in which no water was found.
[[nodiscard]] Glare shares_without_water();

}  // namespace lookdown::glare
