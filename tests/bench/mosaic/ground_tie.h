// Where mosaic pixels lie on the ground of a flight's truth.
#pragma once

#include <array>
#include <nlohmann/json_fwd.hpp>
#include <opencv2/core.hpp>

#include "pipeline/record/flight_record.h"

namespace lookdown::bench {

/// Ground (x, y) in metres from the centres of mosaic pixels, by a GDAL geotransform.
[[nodiscard]] cv::Matx33d grid_of(const std::array<double, 6>& geotransform);

/// The same as a similarity (turn, scale, shift) fitted to where the frames of the first group see the flat
/// ground by their placement and by the truth, each frame with the same say; frames that lie far off lose
/// theirs (Cauchy weights). Throws std::runtime_error when no placed frame has a truth.
[[nodiscard]] cv::Matx33d fitted_grid(const FlightRecord&, const nlohmann::json& truth);

}  // namespace lookdown::bench
