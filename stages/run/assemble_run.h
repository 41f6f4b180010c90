// The run: which stage follows which. This file and its .cpp read as the architecture; what a stage does is
// in its own folder.
#pragma once

#include <string>
#include <vector>

#include "pipeline/record/flight_record.h"
#include "pipeline/record/run_context.h"
#include "stages/run/flight_options.h"

namespace lookdown {

/// How far a run goes; each step includes those before it.
enum class Extent { inspect, measure, place, mosaic, report };

/// How the run came about, for the record.
struct Provenance {
  std::string program_version;
  std::string command_line;
  std::string options_json;
};

/// Files to a finished record, with the contract's tables and pictures below context.out. What one frame
/// spoils is a reason in the record; what stops the run is an exception (std::runtime_error for wrong input
/// files, WriteError, Stopped).
FlightRecord run_flight(const std::vector<std::filesystem::path>& files, const FlightOptions&, Extent,
                        const Provenance&, RunContext&);

/// Writes frames.csv, flight.json and, from Extent::place on, placement.json.
void write_tables(const FlightRecord&, Extent, const std::filesystem::path& out);

}  // namespace lookdown
