// Which frame shows each spot of the ground with the least glare. Private to the stage (and its tests).
#pragma once

#include <opencv2/core.hpp>
#include <vector>

#include "pipeline/record/flight_record.h"
#include "stages/glare/across/view_comparison.h"

namespace lookdown::glare {

/// What the choice needs of a frame.
struct MaskedView {
  PlacedCamera place;
  cv::Mat glare;  ///< CV_8UC1, any size, stretched over the frame: 255 = all glare
  int index = 0;  ///< of the frame in the record
};

struct Spot {
  double x_px = 0, y_px = 0;  ///< its centre on the mosaic
  double side_px = 0;         ///< of the square
  int frame = 0;  ///< index of the frame with the least glare; the one with its centre nearest when several
                  ///< have as little
  double glare_share = 0;        ///< of the spot in that frame
  double worst_glare_share = 0;  ///< in the frame with the most
  int views = 0;                 ///< frames that show the whole spot
};

/// Square spots, `across` of them along the longer side of all outlines together, that at least one frame
/// shows whole with more than `least_share` glare in it. Ordered from top to bottom, left to right.
[[nodiscard]] std::vector<Spot> clearest_views(const std::vector<MaskedView>&, int across,
                                               double least_share);

/// Puts them into the record, in the units of the mosaic's world; `group` of the placement.
void record_clearest_views(FlightRecord&, int group, const std::vector<MaskedView>&);

}  // namespace lookdown::glare
