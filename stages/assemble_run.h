// The run: which stage follows which. This file and its .cpp read as the architecture; what a stage does is in its own folder.
#pragma once

#include <string>
#include <vector>

#include "pipeline/flight_record.h"
#include "pipeline/option_json.h"
#include "pipeline/run_context.h"
#include "stages/cull/cull.h"
#include "stages/glare/glare.h"
#include "stages/inspect/inspect.h"
#include "stages/level/level.h"
#include "stages/mosaic/mosaic.h"
#include "stages/place/place.h"
#include "stages/rectify/rectify.h"
#include "stages/report/report.h"

namespace lookdown {

/// Options of every stage of a run.
struct FlightOptions {
  inspect::Options inspect;
  cull::Options cull;
  level::Options level;
  glare::Options glare;
  place::Options place;
  mosaic::Options mosaic;
  report::Options report;
  level::CopyOptions copies;
  rectify::Options rectify;
  bool look_for_horizon = true;   ///< else a glance at the reduced frame tells whether it shows one
  bool look_for_glare = true;
  std::string choices_file;       ///< choices.csv: a person's verdicts
  std::string sun_marks_file;     ///< where a person saw the sun mirrored and the camera's shadow; empty: none
  bool levelled_copies = false;   ///< write levelled/ for frames with a horizon
  bool deglinted_copies = false;  ///< write deglinted/ for placed frames with glare
  bool rectified_copies = false;  ///< write rectified/ for placed obliques
};
void describe(FlightOptions&, OptionVisitor&);
/// The one option `sun_marks_file`, for commands that do not take them all.
void describe_sun_marks(FlightOptions&, OptionVisitor&);

/// How far a run goes; each step includes those before it.
enum class Extent { inspect, measure, place, mosaic, report };

/// How the run came about, for the record.
struct Provenance {
  std::string program_version;
  std::string command_line;
  std::string options_json;
};

/// Files to a finished record, with the contract's tables and pictures below context.out. What one frame spoils is a reason in
/// the record; what stops the run is an exception (std::runtime_error for wrong input files, WriteError, Stopped).
FlightRecord run_flight(const std::vector<std::filesystem::path>& files, const FlightOptions&, Extent, const Provenance&,
                        RunContext&);

/// Writes frames.csv, flight.json and, from Extent::place on, placement.json.
void write_tables(const FlightRecord&, Extent, const std::filesystem::path& out);

}  // namespace lookdown
