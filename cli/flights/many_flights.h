// Several flights overnight: every folder below one is a flight of its own, run by a process of its own into
// a folder of its own, so that what stops one stops nobody else.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "cli/program.h"

namespace lookdown::cli {

/// How one flight ended.
struct FlightOutcome {
  std::string name;  ///< of the flight's folder
  bool has_pictures = true;
  int exit_code = kFailed;
  double seconds = 0;
  std::string last_words;  ///< last line of what it said; why it failed
  // Out of its flight.json; empty when it has none.
  std::optional<int> frames, kept, placed;
  std::optional<double> gsd_m;
};

/// Runs `run` on every folder below the input that holds pictures, then writes flights.csv and index.html
/// into the output folder and prints the table; with `list_commands` only prints one command a flight,
/// complete in itself and quoted for a POSIX shell. Exit code: 0 all done, 3 any failed, else 1 when any had
/// nothing usable.
int run_many_flights(const Program&);

/// A word as a POSIX shell takes it literally.
std::string shell_quoted(const std::string& word);

/// How it ended in a word or two.
const char* outcome_word(const FlightOutcome&);

/// index.html: totals and a table with links into the flights' folders, readable without a network; names are
/// escaped.
std::string index_page(const std::vector<FlightOutcome>&);

}  // namespace lookdown::cli
