// What work on one frame takes at most, for the scheduler's budget.
#pragma once

#include <algorithm>
#include <cstdint>

#include "pipeline/record/flight_record.h"

namespace lookdown {

/// Bytes for the largest frame of the flight at `bytes_a_pixel` of the frame as stored.
[[nodiscard]] inline std::int64_t bytes_for_largest_frame(const FlightRecord& record,
                                                          std::int64_t bytes_a_pixel) {
  std::int64_t most_pixels = 1;
  for (const FrameRecord& frame : record.frames)
    most_pixels = std::max(most_pixels, std::int64_t{frame.source.width_px} * frame.source.height_px);
  return bytes_a_pixel * most_pixels;
}

}  // namespace lookdown
