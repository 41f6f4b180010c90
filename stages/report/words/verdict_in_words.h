// The flight in a few sentences: what the page and the summary say first.
#pragma once

#include <string>
#include <vector>

#include "pipeline/record/flight_record.h"

namespace lookdown::report {

struct FlightVerdict {
  std::string headline;              ///< how many frames serve and what came of them
  std::vector<std::string> known;    ///< scale, accuracy
  std::vector<std::string> missing;  ///< what is not known, each with what would make it known
};
[[nodiscard]] FlightVerdict flight_verdict(const FlightRecord&);

/// True when the run went as far as asking where frames lie.
[[nodiscard]] bool was_placed(const FlightRecord&);

}  // namespace lookdown::report
