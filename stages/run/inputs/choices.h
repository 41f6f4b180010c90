// A person's word over the program's: choices.csv with the columns file, verdict.
#pragma once

#include <filesystem>
#include <map>
#include <string>

#include "pipeline/record/flight_record.h"

namespace lookdown {

using Choices = std::map<std::string, Verdict>;

/// Throws std::runtime_error naming file and line for an unknown verdict or an unreadable table.
Choices read_choices(const std::filesystem::path& file);

/// Before placing: frames that a person wants though the program drops them, since these may have to be
/// placed first. A frame that a person drops is left as it is: it still holds its neighbours together, and
/// the flight need not be placed anew for it.
void apply_rescues(FlightRecord&, const Choices&);

/// Puts the choices over the decisions; a choice for a file that is not in the flight becomes a warning.
void apply_choices(FlightRecord&, const Choices&);

}  // namespace lookdown
