// A flight record from a rendered flight's truth.json: poses as rendered, or shaken by known amounts, so that
// the mosaic can be measured apart from the placement.
#pragma once

#include <filesystem>
#include <opencv2/core.hpp>

#include "pipeline/record/flight_record.h"

namespace lookdown::bench {

/// How far the poses are moved from the truth.
struct Shake {
  double centre_m = 0;      ///< standard deviation of each coordinate of the camera's centre
  double rotation_deg = 0;  ///< and of each angle
  unsigned seed = 1;
};

/// Every sharp nadir or oblique frame placed by its true pose on a canvas of `gsd_m` (0: median of the nadir
/// frames). Glare masks are taken from the truth when `glare_masks`. `mosaic_from_ground` is filled when
/// given.
[[nodiscard]] FlightRecord flight_from_truth(const std::filesystem::path& flight, double gsd_m, const Shake&,
                                             bool glare_masks, bool obliques,
                                             cv::Matx33d* mosaic_from_ground = nullptr);

}  // namespace lookdown::bench
