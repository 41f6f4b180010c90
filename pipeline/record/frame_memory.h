// What work on one frame takes at most, for the scheduler's budget.
#pragma once

#include <algorithm>
#include <cstdint>

#include "pipeline/record/flight_record.h"

namespace lookdown {

/// Bytes a pixel that decoding a frame takes besides its pixels: LibRaw's sensor values (2), its picture of
/// four colours of 16 bits (8), and three colours of 16 bits twice (12).
[[nodiscard]] inline std::int64_t decode_bytes_a_pixel(const FrameSource& source) {
  constexpr std::int64_t kRaw = 2 + 8 + 12;
  return source.format == "RAW" ? kRaw : 0;
}

/// Bytes for the largest frame of the flight at `bytes_a_pixel` of the frame as stored, its decoding
/// included.
[[nodiscard]] inline std::int64_t bytes_for_largest_frame(const FlightRecord& record,
                                                          std::int64_t bytes_a_pixel) {
  std::int64_t most = 1;
  for (const FrameRecord& frame : record.frames)
    most = std::max(most, (bytes_a_pixel + decode_bytes_a_pixel(frame.source)) * frame.source.width_px *
                              frame.source.height_px);
  return most;
}

}  // namespace lookdown
