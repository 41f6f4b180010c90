// The least that any mosaic of a flight costs on the same threads: decode every used frame once, warp it
// once, encode the result once.
#pragma once

#include "pipeline/record/flight_record.h"
#include "pipeline/record/run_context.h"

namespace lookdown::bench {

/// Processor seconds of all threads.
struct FloorTime {
  double decode_s = 0, warp_s = 0, encode_s = 0;
  [[nodiscard]] double total_s() const { return decode_s + warp_s + encode_s; }
};

/// Of a flight whose mosaic.tif lies in context.out.
[[nodiscard]] FloorTime floor_time(const FlightRecord&, RunContext&);

}  // namespace lookdown::bench
