// How a frame was exposed: share of clipped pixels by channel and mean level in linear light.
#pragma once

#include "pipeline/record/flight_record.h"

namespace cv {
class Mat;
}

namespace lookdown::cull {

/// Fills the clipping and level fields from an 8-bit BGR picture (any reduction of the frame).
/// Top = 254 and above, bottom = 1 and below: JPEG coding moves clipped pixels by about one step.
/// A reduced picture averages neighbours, so that single clipped pixels (grain of gravel, a wet leaf) do not
/// count: clipped areas do.
void measure_exposure(const cv::Mat& bgr, Sharpness& out);

}  // namespace lookdown::cull
