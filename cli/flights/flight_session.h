// What every command that reads frames does around the run: input files, output folder, cache, progress,
// summary.
#pragma once

#include <functional>
#include <memory>
#include <optional>

#include "cli/commands/command.h"
#include "stages/run/assemble_run.h"

namespace lookdown::cli {

/// For a folder that is still being filled.
struct Watch {
  double quiet_s = 60;  ///< ends when no file has come or grown for so long
};

/// Checks all input, opens the output folder for one run at a time, runs the flight as far as `extent`,
/// prints the summary and returns the exit code. `after` sees the finished record before the summary is
/// printed. With `watch` the run is done again whenever files have come, until none comes or the person stops
/// it. Throws WrongUse when something given is wrong.
int run_session(const Invocation&, const FlightOptions&, const std::string& options_json, Extent,
                const std::function<void(FlightRecord&, RunContext&)>& after = {},
                const std::optional<Watch>& watch = {});

}  // namespace lookdown::cli
