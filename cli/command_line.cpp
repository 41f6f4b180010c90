#include "cli/command_line.h"

#include <fmt/core.h>
#include <spdlog/sinks/stdout_color_sinks.h>
#include <spdlog/spdlog.h>

#include <CLI/CLI.hpp>

#include "cli/command.h"
#include "cli/option_flags.h"
#include "cli/options_file.h"
#include "cli/version.h"
#include "pipeline/atomic_file.h"
#include "pipeline/scheduler.h"

namespace lookdown::cli {
namespace {

constexpr const char* kAbout =
    "From a card of frames taken at low height to the sharp ones, levelled, freed of glare, and joined into one straight-down picture at a\n"
    "known scale. Originals are never changed.";

constexpr const char* kCautions =
    "Lifting a camera can hurt people: keep clear of power lines, storms, roads, aircraft and bystanders, respect privacy and wildlife, and\n"
    "follow your local rules. A mosaic is no licensed survey, a glare mask no water-quality measurement.";

void add_flight_options(CLI::App& app, Invocation& invocation) {
  app.add_option("FLIGHT", invocation.inputs, "folders, files and patterns with the frames of one flight")->required();
  app.add_option("-o,--out", invocation.out, "folder for everything that is written; made when missing")->required();
  app.add_option("--threads", invocation.threads, "threads to use; 0 = all cores [0 to 1024]")->check(CLI::Range(0, 1024))->capture_default_str();
  app.add_option("--memory", invocation.memory, "memory to stay within, such as 1500M or 2G")->capture_default_str();
  app.add_flag("--no-cache", invocation.no_cache, "compute everything again and keep nothing for a later run");
}

void add_talk_options(CLI::App& app, Invocation& invocation) {
  app.add_flag("--json", invocation.json, "print the summary as JSON");
  app.add_flag("-q,--quiet", invocation.quiet, "print nothing but errors");
  app.add_flag("-v,--verbose", invocation.verbose, "say what is being done");
}

// The options file comes first and flags beat it, so it must be read before the flags are.
std::string options_file_on(int argc, char** argv) {
  for (int i = 1; i < argc; ++i) {
    const std::string word = argv[i];
    if (word == "--options-file" && i + 1 < argc) return argv[i + 1];
    if (word.starts_with("--options-file=")) return word.substr(std::string("--options-file=").size());
  }
  return {};
}

std::string command_line(int argc, char** argv) {
  std::string line = "lookdown";
  for (int i = 1; i < argc; ++i) line += std::string(" ") + argv[i];
  return line;
}

void set_log(const Invocation& invocation) {
  spdlog::set_default_logger(spdlog::stderr_color_mt("lookdown"));
  spdlog::set_pattern("%H:%M:%S %v");
  spdlog::set_level(invocation.verbose ? spdlog::level::debug : spdlog::level::err);
}

int complain(int code, const std::string& message) {
  fmt::print(stderr, "lookdown: {}\n", message);
  return code;
}

int run(const Command& command, const Invocation& invocation) {
  try {
    return command.run(invocation);
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
  return {run_command(),     inspect_command(), cull_command(),  level_command(),
          rectify_command(), glare_command(),   mosaic_command(),  measure_command(), align_command(), control_command(), plan_command()};
}

int run_program(int argc, char** argv) {
  stop_on_signals();
  CLI::App app(kAbout, "lookdown");
  app.footer(kCautions);
  app.set_version_flag("--version", std::string("lookdown ") + kVersion);
  app.require_subcommand(1);
  Invocation invocation;
  invocation.command_line = command_line(argc, argv);
  std::string options_file;
  const Command* chosen = nullptr;
  const std::vector<Command> commands = all_commands();
  try {
    const std::string file = options_file_on(argc, argv);
    for (const Command& command : commands) {
      CLI::App* sub = app.add_subcommand(command.name, command.summary);
      sub->description(command.manual);
      if (command.reads_frames)
        add_flight_options(*sub, invocation);
      else {
        if (!command.takes.empty()) sub->add_option("OUT", invocation.inputs, command.takes)->required();
        sub->add_option("-o,--out", invocation.out, "folder for the files that are written; made when missing");
      }
      sub->add_option("--options-file", options_file, "options from a TOML file, or from the flight.json of an earlier run; flags beat it");
      add_talk_options(*sub, invocation);
      if (!file.empty() && argc > 1 && command.name == argv[1]) read_options_file(file, command.describe);
      FlagBinder flags(*sub);
      command.describe(flags);
      sub->callback([&chosen, &command] { chosen = &command; });
    }
    app.parse(argc, argv);
  } catch (const CLI::ParseError& error) {
    return app.exit(error) == 0 ? kDone : kWrongUse;
  } catch (const std::runtime_error& error) {
    return complain(kWrongUse, error.what());
  }
  set_log(invocation);
  return run(*chosen, invocation);
}

}  // namespace lookdown::cli
