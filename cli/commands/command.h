// What a command of the program is. Each command lives in its own command_NAME.cpp and declares its options
// once, through the describe functions of the stages it runs.
#pragma once

#include <functional>
#include <stdexcept>
#include <string>
#include <vector>

#include "pipeline/base/options/option_table.h"

namespace lookdown::cli {

/// Exit codes of the program.
enum ExitCode { kDone = 0, kNothingUsable = 1, kWrongUse = 2, kFailed = 3 };

/// What every command that reads frames is told besides its own options.
struct Invocation {
  std::vector<std::string> inputs;
  std::string out;
  int threads = 0;
  std::string memory = "2G";
  bool no_cache = false;
  bool overwrite = false;  ///< files of others in the output folder may be replaced
  bool json = false;
  bool quiet = false;
  bool verbose = false;
  bool each = false;           ///< every folder below the input is a flight of its own
  bool list_commands = false;  ///< with `each`: print what would be run
  std::string command;         ///< the word that was given
  std::string command_line;
};

/// What a command is given before its options.
enum class Takes {
  nothing,
  frames,          ///< one or more folders, files or patterns; it also gets the options of every run
  results,         ///< output folders of earlier runs
  one_of_words,    ///< exactly one of `words`
  maybe_one_word,  ///< one of `words`, or nothing
};

struct Command {
  std::string name;
  std::string summary;  ///< one line for the list of commands
  std::string manual;   ///< what it does, as a manual would say it; paragraphs are parted by an empty line
  std::string example;  ///< one command line as a person would type it
  Takes takes = Takes::frames;
  std::string takes_name = "FLIGHT";
  std::string takes_help = "folders, files and patterns with the frames of one flight";
  std::vector<std::string> words = {};
  std::function<void(OptionVisitor&)> describe = [](OptionVisitor&) {};
  std::function<int(const Invocation&)> run;
  bool about_program = false;  ///< prints about the program itself and has no options
  /// For an option that names an earlier run whose findings become defaults, without dashes; empty: none.
  /// Read before the flags are, so that flags beat it. Throws std::runtime_error.
  std::string starts_from_option = {};
  std::function<void(const std::string& folder)> start_from = {};
};

/// The text was wrong in a way that only shows once files are looked at; exit code 2.
struct WrongUse : std::runtime_error {
  using std::runtime_error::runtime_error;
};

Command run_command();
Command inspect_command();
Command cull_command();
Command level_command();
Command rectify_command();
Command glare_command();
Command mosaic_command();
Command measure_command();
Command align_command();
Command control_command();
Command plan_command();
Command options_command();
Command completion_command();
Command manual_command();

/// Every command in the order of the help text.
std::vector<Command> all_commands();

}  // namespace lookdown::cli
