// The command line as the argument parser knows it: every command with its options, out of the option tables.
// Help, shell completion and the manual page are all drawn from it.
#pragma once

#include <CLI/CLI.hpp>
#include <memory>
#include <string>
#include <vector>

#include "cli/commands/command.h"

namespace lookdown::cli {

struct Program {
  CLI::App app;
  Invocation invocation;
  std::string options_file;
  std::vector<Command> commands;
  const Command* chosen = nullptr;  ///< set by parsing
};

/// Reads the options file that the words name, if any, for the command that they name, so that flags beat it.
/// Throws std::runtime_error for a wrong options file. Without words: the program with its defaults.
std::unique_ptr<Program> make_program(const std::vector<std::string>& words = {});

}  // namespace lookdown::cli
