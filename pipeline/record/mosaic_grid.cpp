#include "pipeline/record/mosaic_grid.h"

#include <Eigen/LU>

namespace lookdown {

Homography<MosaicPx, Ground> mosaic_from_ground(const FlightRecord& flight) {
  const FlightPlacement& placement = flight.placement;
  if (!(placement.relief_spread > 0))
    for (const FrameRecord& frame : flight.frames)
      if (frame.placement.placed && frame.placement.group == 0 && frame.placement.camera.fx_px > 0)
        return frame.placement.mosaic_from_frame *
               ground_from_frame(frame.placement.pose, frame.placement.camera).inverse();
  const std::array<double, 6> t = placement.geotransform.value_or(std::array<double, 6>{0, 1, 0, 0, 0, -1});
  Eigen::Matrix3d ground_from_corners;
  ground_from_corners << t[1], t[2], t[0], t[4], t[5], t[3], 0, 0, 1;
  Homography<MosaicPx, Ground> h;
  h.matrix = ground_from_corners.inverse();
  h.matrix.row(0) -= 0.5 * h.matrix.row(2);
  h.matrix.row(1) -= 0.5 * h.matrix.row(2);
  return h;
}

}  // namespace lookdown
