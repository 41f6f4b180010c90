// One pass over the frames in which each is decoded once: sharpness, horizon and tilt, glare.
#pragma once

#include "pipeline/record/flight_record.h"
#include "pipeline/record/run_context.h"
#include "stages/run/flight_options.h"

namespace lookdown {

/// Fills sharpness, horizon, tilt sources and glare of every frame without fault, and writes masks/ below
/// context.out. Results come from the cache where file content and options are the same; a frame that cannot
/// be decoded gets its fault here. Returns, for each frame whose horizon was not looked for, the log-odds
/// that a glance at it saw one.
cull::CoarseHorizons analyse_frames(FlightRecord&, const FlightOptions&, RunContext&);

}  // namespace lookdown
