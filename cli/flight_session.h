// What commands that read frames share: the input files, the output folder and its lock, threads, memory,
// cache.
#pragma once

#include <filesystem>
#include <functional>
#include <memory>
#include <string>

#include "cli/commands/command.h"
#include "stages/run/assemble_run.h"

namespace lookdown::cli {

/// Opens the output folder for one run at a time, runs the flight as far as `extent`, prints the summary and
/// returns the exit code. `after` sees the finished record before the summary is printed. Throws WrongUse
/// when the inputs do not exist or hold no picture, or the output folder is one of the inputs.
int run_session(const Invocation&, const FlightOptions&, const std::string& options_json, Extent,
                const std::function<void(FlightRecord&, RunContext&)>& after = {});

}  // namespace lookdown::cli
