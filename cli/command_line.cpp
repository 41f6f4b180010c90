#include "cli/command_line.h"

#include <fmt/core.h>
#include <spdlog/sinks/stdout_color_sinks.h>
#include <spdlog/spdlog.h>

#include "cli/flights/many_flights.h"
#include "cli/program.h"
#include "cli/reference/help_page.h"
#include "cli/unknown_words.h"
#include "pipeline/base/files/atomic_file.h"
#include "pipeline/base/options/option_json.h"
#include "pipeline/base/scheduler.h"

namespace lookdown::cli {
namespace {

std::string joined_line(const std::vector<std::string>& words) {
  std::string line = "lookdown";
  for (const std::string& word : words) line += " " + word;
  return line;
}

void set_log(const Invocation& invocation) {
  spdlog::set_default_logger(spdlog::stderr_color_mt("lookdown"));
  spdlog::set_pattern("%H:%M:%S %v");
  spdlog::set_level(invocation.verbose ? spdlog::level::debug : spdlog::level::err);
}

int complain(int code, const std::string& message) {
  std::fflush(stdout);
  fmt::print(stderr, "lookdown: {}\n", message);
  return code;
}

// What a command cannot do without; the parser itself would only name the option.
void require_words(const Program& program) {
  const Command& command = *program.chosen;
  const Invocation& invocation = program.invocation;
  const std::string name = command.name + ": ";
  if (command.takes != Takes::nothing && command.takes != Takes::maybe_one_word && invocation.inputs.empty())
    throw WrongUse(name + "name the " + command.takes_help + ", as in: " + command.example);
  if (command.takes == Takes::frames && invocation.out.empty())
    throw WrongUse(name + "say where to write with -o FOLDER, as in: " + command.example);
  if (invocation.list_commands && !invocation.each) throw WrongUse(name + "--list-commands goes with --each");
  try {
    (void)parse_memory(invocation.memory);
  } catch (const std::runtime_error& error) {
    throw WrongUse(name + "--" + error.what());
  }
}

int run(const Program& program) {
  try {
    require_words(program);
    if (program.invocation.each) return run_many_flights(program);
    return program.chosen->run(program.invocation);
  } catch (const WrongUse& error) {
    return complain(kWrongUse, error.what());
  } catch (const Stopped&) {
    return complain(kFailed, "stopped; the same command goes on where this one ended");
  } catch (const WriteError& error) {
    return complain(kFailed, error.what());
  } catch (const std::bad_alloc&) {
    return complain(kFailed, "out of memory; lower --memory or --threads, or leave out the largest frames");
  } catch (const std::exception& error) {
    return complain(kFailed, error.what());
  }
}

}  // namespace

std::vector<Command> all_commands() {
  return {run_command(),   inspect_command(), cull_command(),       level_command(), rectify_command(),
          glare_command(), mosaic_command(),  measure_command(),    align_command(), control_command(),
          plan_command(),  options_command(), completion_command(), manual_command()};
}

int run_program(int argc, char** argv) {
  stop_on_signals();
  const std::vector<std::string> words(argv + std::min(argc, 1), argv + argc);
  std::unique_ptr<Program> program;
  try {
    program = make_program(words);
    if (words.empty()) {
      fmt::print("{}", program->app.help());
      return kDone;
    }
    if (const std::string complaint = complaint_about_words(*program, words); !complaint.empty())
      return complain(kWrongUse, complaint);
    program->invocation.command_line = joined_line(words);
    program->app.parse(argc, argv);
  } catch (const CLI::ParseError& error) {
    // Help and version come this way too.
    if (error.get_exit_code() == 0) return program->app.exit(error) == 0 ? kDone : kFailed;
    return complain(kWrongUse, words.front() + ": " + error.what());
  } catch (const std::runtime_error& error) {
    return complain(kWrongUse, error.what());
  }
  if (program->chosen == nullptr)
    return complain(kWrongUse, "name a command first; lookdown --help lists them");
  program->invocation.command = program->chosen->name;
  set_log(program->invocation);
  return run(*program);
}

}  // namespace lookdown::cli
