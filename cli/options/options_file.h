// Options from a file: lookdown.toml (names as on the command line), or the flight.json of an earlier run,
// which is run again with the same options.
#pragma once

#include <filesystem>

#include "pipeline/base/options/option_json.h"

namespace lookdown::cli {

/// Sets options from the file. Throws std::runtime_error that names the file and the line or option:
/// unreadable, not TOML, an unknown name (the nearest known one is named), a wrong type, a value out of
/// range.
void read_options_file(const std::filesystem::path& file, const Describe& describe);

}  // namespace lookdown::cli
