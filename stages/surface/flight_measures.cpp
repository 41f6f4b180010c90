#include "stages/surface/flight_measures.h"

#include <Eigen/LU>
#include <algorithm>
#include <cmath>
#include <vector>

#include "pipeline/base/robust_statistics.h"
#include "pipeline/record/mosaic_grid.h"
#include "stages/surface/matching/sweep_views.h"

namespace lookdown::surface {
namespace {

constexpr double kFramePixelsANode = 2;
constexpr double kMostNodes = 16e6;  ///< time as a mosaic of that size takes, 200 MB with what is worked on

}  // namespace

std::optional<FlightMeasures> measures_of(const FlightRecord& record) {
  std::vector<double> heights, sizes;
  for (const SweepView& view : sweep_views(record, 1)) {
    const FramePlacement& placed = record.frames[std::size_t(view.frame)].placement;
    heights.push_back(view.centre.z());
    sizes.push_back(view.centre.z() / placed.camera.fx_px);
  }
  if (heights.size() < 2) return std::nullopt;
  FlightMeasures flight;
  flight.ground_from_mosaic = mosaic_from_ground(record).matrix.inverse();
  flight.ground_from_mosaic /= flight.ground_from_mosaic(2, 2);
  flight.mosaic_px = std::sqrt(std::abs(flight.ground_from_mosaic.topLeftCorner<2, 2>().determinant()));
  flight.height = median_in_place(heights);
  flight.frame_px = median_in_place(sizes);
  return flight;
}

double finest_step_px(const FlightMeasures& flight, const FlightPlacement& placement) {
  return std::max({1.0, kFramePixelsANode * flight.frame_px / flight.mosaic_px,
                   std::sqrt(double(placement.mosaic_width_px) * placement.mosaic_height_px / kMostNodes)});
}

NodeGrid grid_of(const FlightMeasures& flight, const FlightPlacement& placement, double step_px) {
  NodeGrid grid;
  grid.columns = std::max(2, int(std::ceil(placement.mosaic_width_px / step_px)));
  grid.rows = std::max(2, int(std::ceil(placement.mosaic_height_px / step_px)));
  Eigen::Matrix3d mosaic_from_node = Eigen::Matrix3d::Identity();
  mosaic_from_node.diagonal().head<2>().setConstant(step_px);
  mosaic_from_node(0, 2) = mosaic_from_node(1, 2) = 0.5 * step_px - 0.5;
  grid.ground_from_node = flight.ground_from_mosaic * mosaic_from_node;
  grid.pitch = step_px * flight.mosaic_px;
  return grid;
}

}  // namespace lookdown::surface
