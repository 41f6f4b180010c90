// Everything the page shows, as the JSON that its scripts read.
#pragma once

#include <nlohmann/json_fwd.hpp>
#include <string>

#include "pipeline/record/flight_record.h"
#include "pipeline/record/run_context.h"
#include "stages/report/report.h"

namespace lookdown::report {

/// What is known of the flight and each frame, without pictures.
[[nodiscard]] nlohmann::json flight_content(const FlightRecord&, const RunContext&);

/// JSON for a <script type="application/json">: no '<' can end the element, bytes that are not UTF-8 are
/// replaced.
[[nodiscard]] std::string json_for_page(const nlohmann::json&);

}  // namespace lookdown::report
