// What this flight teaches for the next one, in sentences.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "pipeline/record/flight_record.h"

namespace lookdown::report {

/// How fast the picture moved over the sensor while frames were exposed, pixels a second, not exceeded in
/// nine of ten frames: length of smear over exposure time. Empty with fewer than five frames that tell both.
[[nodiscard]] std::optional<double> image_speed_px_s(const FlightRecord&);

/// The longest usual shutter time (thirds of a stop) that keeps smear at that
/// speed to one pixel, seconds.
[[nodiscard]] double shutter_for_one_pixel_s(double image_speed_px_s);

/// Middle share of its successor's ground that a placed frame also shows, 0..1; empty with fewer than three
/// pairs.
[[nodiscard]] std::optional<double> forward_overlap_share(const FlightRecord&);

/// Shutter, overlap and spacing, height, focus, time of day: one sentence or two each, what matters most
/// first; only what this flight tells.
[[nodiscard]] std::vector<std::string> next_flight_advice(const FlightRecord&);

}  // namespace lookdown::report
