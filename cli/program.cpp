#include "cli/program.h"

#include <fmt/core.h>

#include <algorithm>

#include "cli/library_versions.h"
#include "cli/options/option_flags.h"
#include "cli/options/options_file.h"
#include "cli/reference/help_page.h"

namespace lookdown::cli {
namespace {

constexpr const char* kAbout =
    "From a card of frames taken at low height to the sharp ones, levelled, freed of glare, and joined into "
    "one straight-down picture at a known scale. Originals are never changed.";

constexpr const char* kCautions =
    "Lifting a camera can hurt people: keep clear of power lines, storms, roads, aircraft and bystanders, "
    "respect privacy and wildlife, and follow your local rules. A mosaic is no licensed survey, a glare mask "
    "no water-quality measurement.";

// Cautions where they can do some good: before a flight, and where its results are made.
bool shows_cautions(const Command& command) {
  return command.name == "run" || command.name == "plan";
}

class CommandHelp : public CLI::Formatter {
 public:
  explicit CommandHelp(const Command& command) : command_(command) {}
  std::string make_help(const CLI::App* app, std::string, CLI::AppFormatMode mode) const override {
    const std::size_t columns = terminal_columns();
    std::string text = help_page(*app, command_, mode == CLI::AppFormatMode::All, columns);
    if (shows_cautions(command_)) text += "\n" + wrapped(kCautions, columns, 0) + "\n";
    return text;
  }

 private:
  const Command& command_;
};

class ProgramHelp : public CLI::Formatter {
 public:
  explicit ProgramHelp(const std::vector<Command>& commands) : commands_(commands) {}
  std::string make_help(const CLI::App*, std::string, CLI::AppFormatMode) const override {
    const std::size_t columns = terminal_columns();
    std::string text = wrapped(kAbout, columns, 0) +
                       "\n\nThe whole way, then open flight3/report.html\n  lookdown run /media/card/flight3 "
                       "-o flight3\n\nCommands\n";
    for (const Command& command : commands_)
      text += fmt::format("  {:<12}{}\n", command.name, wrapped(command.summary, columns - 14, 14));
    return text +
           "\n  lookdown COMMAND --help      says what a command does and its everyday options\n"
           "  lookdown COMMAND --help-all  lists all of them\n"
           "  lookdown --version           names the program's version and its libraries\n\n" +
           wrapped(kCautions, columns, 0) + "\n";
  }
  // For the completion of shells: name and summary.
  std::string make_subcommand(const CLI::App* sub) const override {
    const auto command = std::find_if(commands_.begin(), commands_.end(),
                                      [&](const Command& each) { return each.name == sub->get_name(); });
    return command->name + " " + command->summary;
  }

 private:
  const std::vector<Command>& commands_;
};

void add_flight_options(CLI::App& app, Invocation& invocation) {
  app.add_option("-o,--out", invocation.out, "folder for everything that is written; made when missing")
      ->type_name("FOLDER");
  app.add_option("--threads", invocation.threads, "threads to use, 0 for all cores [0 to 1024]")
      ->check(CLI::Range(0, 1024).description(""))
      ->type_name("NUMBER")
      ->capture_default_str();
  app.add_option("--memory", invocation.memory, "memory to stay within, such as 1500M or 2G")
      ->type_name("SIZE")
      ->capture_default_str();
  app.add_flag("--no-cache", invocation.no_cache,
               "compute everything again and keep nothing for a later run");
}

void add_talk_options(CLI::App& app, Invocation& invocation) {
  app.add_flag("--json", invocation.json, "print the summary as JSON");
  app.add_flag("-q,--quiet", invocation.quiet, "print nothing but errors");
  app.add_flag("-v,--verbose", invocation.verbose, "say what is being done");
}

void add_taken(CLI::App& app, const Command& command, Invocation& invocation) {
  if (command.takes == Takes::nothing) return;
  CLI::Option* taken = app.add_option(command.takes_name, invocation.inputs, command.takes_help);
  if (command.takes == Takes::one_of_words || command.takes == Takes::maybe_one_word)
    taken->expected(0, 1)->check(CLI::IsMember(command.words));
}

void add_many_flights(CLI::App& app, Invocation& invocation) {
  app.add_flag(
      "--each", invocation.each,
      "take every folder below FLIGHT for a flight of its own, with its own folder below the output folder");
  app.add_flag("--list-commands", invocation.list_commands,
               "with --each: run nothing, print one command a flight for a scheduler");
}

// What must be known before the flags are read, because flags beat it.
std::string value_of(const std::string& option, const std::vector<std::string>& words) {
  const std::string name = "--" + option;
  for (std::size_t i = 0; i < words.size(); ++i) {
    if (words[i] == name && i + 1 < words.size()) return words[i + 1];
    if (words[i].starts_with(name + "=")) return words[i].substr(name.size() + 1);
  }
  return {};
}

void add_command(Program& program, const Command& command, const std::vector<std::string>& words) {
  CLI::App* sub = program.app.add_subcommand(command.name, command.manual);
  sub->formatter(std::make_shared<CommandHelp>(command));
  sub->set_help_flag("-h,--help", "this help, with the options for every day");
  sub->set_help_all_flag("--help-all", "this help with all options");
  sub->callback([&program, &command] { program.chosen = &command; });
  add_taken(*sub, command, program.invocation);
  if (command.about_program) return;
  if (command.takes == Takes::frames)
    add_flight_options(*sub, program.invocation);
  else
    sub->add_option("-o,--out", program.invocation.out,
                    "folder for the files that are written; made when missing")
        ->type_name("FOLDER");
  sub->add_flag("--overwrite", program.invocation.overwrite,
                "replace files in the output folder that this program did not write");
  if (command.name == "run") add_many_flights(*sub, program.invocation);
  sub->add_option("--options-file", program.options_file,
                  "options from a TOML file, or from the flight.json of an earlier run; flags beat it")
      ->type_name("FILE");
  add_talk_options(*sub, program.invocation);
  if (!command.starts_from_option.empty()) {
    const std::string folder = value_of(command.starts_from_option, words);
    if (!folder.empty()) command.start_from(folder);
  }
  if (const std::string file = value_of("options-file", words); !file.empty())
    read_options_file(file, command.describe);
  FlagBinder flags(*sub);
  command.describe(flags);
}

}  // namespace

std::unique_ptr<Program> make_program(const std::vector<std::string>& words) {
  auto program = std::make_unique<Program>();
  program->app.name("lookdown");
  program->app.description(kAbout);
  program->app.footer(kCautions);
  program->app.set_version_flag("--version", version_text());
  program->app.set_help_all_flag("--help-all", "the same");
  // One command only: further words, which may be names of commands, are its own.
  program->app.require_subcommand(0, 1);
  program->commands = all_commands();
  program->app.formatter(std::make_shared<ProgramHelp>(program->commands));
  for (const Command& command : program->commands)
    add_command(*program, command,
                !words.empty() && words.front() == command.name ? words : std::vector<std::string>{});
  return program;
}

}  // namespace lookdown::cli
