// Where the frames show water, whose ripples and mirror images tell false heights.
#pragma once

#include <opencv2/core.hpp>

#include "pipeline/record/run_context.h"
#include "stages/surface/matching/height_sweep.h"

namespace lookdown::surface {

/// CV_8UC1 over the grid, 255 where most of the frames that show a node call it water (their water masks).
/// `heights`: CV_32FC1, the nodes' heights as far as they are known.
[[nodiscard]] cv::Mat water_nodes(const FlightRecord&, const std::vector<SweepView>&, const NodeGrid&,
                                  const cv::Mat& heights, RunContext&);

}  // namespace lookdown::surface
