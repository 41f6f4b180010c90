// Sizes of a placed flight, and the grid of nodes over its mosaic.
#pragma once

#include <Eigen/Core>
#include <optional>

#include "pipeline/record/flight_record.h"
#include "stages/surface/matching/height_sweep.h"

namespace lookdown::surface {

struct FlightMeasures {
  Eigen::Matrix3d ground_from_mosaic = Eigen::Matrix3d::Identity();
  double mosaic_px = 1;  ///< world units
  double height = 1;     ///< of the cameras over the plane, world units; median
  double frame_px = 1;   ///< of the frames on the ground, world units; median
};

/// Empty when fewer than two frames take part.
[[nodiscard]] std::optional<FlightMeasures> measures_of(const FlightRecord&);

/// Mosaic pixels between the nodes of the finest grid: two frame pixels, more over large mosaics.
[[nodiscard]] double finest_step_px(const FlightMeasures&, const FlightPlacement&);

/// Nodes `step_px` mosaic pixels apart over the whole mosaic.
[[nodiscard]] NodeGrid grid_of(const FlightMeasures&, const FlightPlacement&, double step_px);

}  // namespace lookdown::surface
