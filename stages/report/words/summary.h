// What a run says at its end: for a person one screen of text, for a machine one line of JSON.
#pragma once

#include <filesystem>
#include <string>

#include "pipeline/record/flight_record.h"

namespace lookdown::report {

/// At most 24 lines of at most 80 columns (paths apart): counts, what was dropped and why, accuracy,
/// warnings, files that are there, what to do next. Ends with a line break. Control characters of file names
/// are replaced, so that a name cannot steer a terminal.
[[nodiscard]] std::string summary(const FlightRecord&, const std::filesystem::path& out);

/// The same as one JSON object on one line.
[[nodiscard]] std::string summary_json(const FlightRecord&, const std::filesystem::path& out);

}  // namespace lookdown::report
