// How each frame lies against the rest: by quarter of the frame, in which direction and how far its sightings
// miss where the adjusted points say they should be.
#pragma once

#include <vector>

#include "pipeline/record/flight_record.h"
#include "stages/place/adjustment/network.h"

namespace lookdown::place {

/// Median misfit of each quarter of frame `frame` that holds at least five sightings: seen minus adjusted,
/// carried to the mosaic by `mosaic_from_frame`.
[[nodiscard]] std::vector<Misfit> misfits_of(const Network&, int frame,
                                             const std::vector<const Sighting*>& sightings,
                                             const Homography<MosaicPx, UndistortedPx>& mosaic_from_frame);

/// The network's sightings by frame.
[[nodiscard]] std::vector<std::vector<const Sighting*>> sightings_by_frame(const Network&);

}  // namespace lookdown::place
