// How unlike several views show a place.
#pragma once

#include <cstddef>
#include <cstdint>
#include <opencv2/core.hpp>
#include <vector>

#include "stages/surface/matching/census.h"

namespace lookdown::surface {

/// Steps of the answer for each bit.
inline constexpr int kStepsPerBit = 4;

/// Views that are compared at a place: what one more is worth is little from the fifth on.
inline constexpr std::size_t kMostViewsCompared = 8;

/// Bits by which two of the views differ, in steps of 1 / kStepsPerBit bit, mean over all pairs that see the
/// place (CV_8UC1, 0 .. 96); kUnknown where fewer than two do. Of n views c of which have a bit set, c (n -
/// c) pairs differ in it, so that no pair is looked at by itself. One to kMostViewsCompared views of one
/// size.
void differing_bits(const std::vector<const Census*>& views, cv::Mat& steps);

}  // namespace lookdown::surface
