// What a person gives beside the frames is read and held against each other before the first frame is: a
// misspelt name must show in a second, not after the night.
#pragma once

#include <filesystem>
#include <stdexcept>
#include <string>
#include <vector>

#include "stages/run/flight_options.h"

namespace lookdown {

/// Something given is wrong; the message is one line that names file or option and says what to do.
struct InputMistake : std::runtime_error {
  using std::runtime_error::runtime_error;
};

/// Reads every table and checks names, numbers, the coordinate reference system and options that belong
/// together; of the frames their names are looked at, and their headers where a limit on the mosaic asks it.
/// Returns what is odd but may be meant, one line each. Throws InputMistake for the first mistake.
std::vector<std::string> check_inputs(const FlightOptions&, const std::vector<std::filesystem::path>& files);

}  // namespace lookdown
