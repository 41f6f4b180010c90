// Frames that were taken for views to the horizon, held against how they tie to the others. A straight bank
// or roof edge can pass for a horizon in one picture; that the frame maps onto frames that look down without
// strong perspective cannot be an accident.
#pragma once

#include <vector>

#include "pipeline/record/flight_record.h"
#include "stages/place/features/image_features.h"
#include "stages/place/group.h"

namespace lookdown::place {

/// True in a flight whose usable frames are at least half views to the horizon: then they are what is placed.
/// Elsewhere they add little ground and much distance, and stay out.
[[nodiscard]] bool flight_of_horizons(const FlightRecord&);

/// A frame that ties like one that looks down loses its horizon and becomes nadir; the ties of the other
/// views to the horizon are removed, except in a flight of horizons.
void settle_horizon_views(const std::vector<TieFrame>&, std::vector<Tie>&, FlightRecord&);

/// The other way round: a frame whose adjusted pose shows the horizon, though none was found in it (dark,
/// hazy, or bent by a lens not yet known), becomes a view to the horizon, is no longer held by its group and
/// loses its ties; except in a flight of horizons, or where the tilts of the group are a guess.
void set_views_to_horizon_aside(const std::vector<TieFrame>&, Group&, std::vector<Tie>&, FlightRecord&);

}  // namespace lookdown::place
