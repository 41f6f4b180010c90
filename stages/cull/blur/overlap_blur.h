// Blur of one frame against another that shows the same ground.
#pragma once

#include <opencv2/core.hpp>
#include <optional>

#include "pipeline/record/flight_record.h"

namespace lookdown::cull {

struct OverlapBlur {
  double added_variance_px2 = 0;  ///< of the blur of the one beyond that of the other, in pixels of the one;
                                  ///< below zero: the one is sharper
  int tiles = 0;                  ///< pieces of common ground compared
};

/// Both frames must be placed. Pieces of common ground are brought to the pixel grid of `one`; with the same
/// content in both, the ratio of their spectra is that of the blurs alone: log(P1 / P2) = c - 4 pi^2 (s1^2 -
/// s2^2) f^2. Small errors of the placement do not matter, for a shift leaves the power as it is. Empty when
/// too little of the ground that both see has detail in `other`. `one_grey`, `other_grey`: CV_8UC1 at full
/// resolution.
[[nodiscard]] std::optional<OverlapBlur> compare_overlap(const FrameRecord& one, const cv::Mat& one_grey,
                                                         const FrameRecord& other, const cv::Mat& other_grey);

}  // namespace lookdown::cull
