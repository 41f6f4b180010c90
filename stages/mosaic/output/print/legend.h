// What stands beside a mosaic when it is shown or printed: date, frames, scale, accuracy, in words.
#pragma once

#include <string>

#include "pipeline/record/flight_record.h"

namespace lookdown::mosaic {

/// Day or days on which the frames that are shown were taken, "2025-05-14" or "2025-05-14 to 2025-05-16";
/// empty when no frame tells.
[[nodiscard]] std::string days_taken(const FlightRecord&);

/// `given`, or when that is empty the name of the folder that most of the frames lie in.
[[nodiscard]] std::string title_of(const FlightRecord&, const std::string& given);

/// True when up in the mosaic is known to be north.
[[nodiscard]] bool north_is_known(const FlightPlacement&);

/// How well it fits, in the placement's own words, or that it is not known.
[[nodiscard]] std::string accuracy_line(const FlightPlacement&);

}  // namespace lookdown::mosaic
