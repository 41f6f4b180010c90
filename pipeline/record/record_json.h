// The flight record as JSON (flight.json, placement.json, cached pieces) and as the table frames.csv.
#pragma once

#include <filesystem>
#include <nlohmann/json_fwd.hpp>
#include <string>

#include "pipeline/record/flight_record.h"

namespace lookdown {

nlohmann::json to_json(const FlightRecord&);
/// Throws std::runtime_error with the place and the reason when the text is not a flight record.
FlightRecord flight_record_from_json(const nlohmann::json&);

/// True when the folder holds what a run wrote: its record, or the lock and cache of one that did not end.
[[nodiscard]] bool holds_a_run(const std::filesystem::path& folder);

nlohmann::json to_json(const FrameInfo&);
nlohmann::json to_json(const Sharpness&);
nlohmann::json to_json(const Horizon&);
nlohmann::json to_json(const Tilt&);
nlohmann::json to_json(const Glare&);
nlohmann::json to_json(const FramePlacement&);
nlohmann::json to_json(const Camera&);
Camera camera_from_json(const nlohmann::json&);
Sharpness sharpness_from_json(const nlohmann::json&);
Horizon horizon_from_json(const nlohmann::json&);
Tilt tilt_from_json(const nlohmann::json&);
Glare glare_from_json(const nlohmann::json&);

/// placement.json as other programs read it: see the file contract in DEVELOPERS.md.
nlohmann::json placement_document(const FlightRecord&);
/// frames.csv; RFC 4180 quoting, text cells that a spreadsheet would take for a formula get a leading
/// apostrophe.
std::string frames_table(const FlightRecord&);
/// least_glare.csv: for each square spot that glares in some frame, the frame that shows it with the least;
/// same quoting.
std::string least_glare_table(const FlightRecord&);

}  // namespace lookdown
