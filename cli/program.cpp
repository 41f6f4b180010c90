#include "cli/program.h"

#include <algorithm>

#include "cli/library_versions.h"
#include "cli/options/option_flags.h"
#include "cli/options/options_file.h"

namespace lookdown::cli {
namespace {

constexpr const char* kAbout =
    "From a card of frames taken at low height to the sharp ones, levelled, freed of glare, and joined into "
    "one straight-down picture at a\n"
    "known scale. Originals are never changed.";

constexpr const char* kCautions =
    "Lifting a camera can hurt people: keep clear of power lines, storms, roads, aircraft and bystanders, "
    "respect privacy and wildlife, and\n"
    "follow your local rules. A mosaic is no licensed survey, a glare mask no water-quality measurement.";

// Names the two sides of a switch without the library's mark for the one that turns it off.
class PlainNames : public CLI::Formatter {
 public:
  std::string make_option_name(const CLI::Option* option, bool is_positional) const override {
    if (is_positional) return option->get_name(true, false);
    std::vector<std::string> names;
    for (const std::string& name : option->get_snames()) names.push_back("-" + name);
    for (const std::string& name : option->get_lnames()) names.push_back("--" + name);
    return CLI::detail::join(names, ",");
  }
};

// The list of commands has a line for each; what each does at length stands in its own help.
class OneLineCommands : public CLI::Formatter {
 public:
  explicit OneLineCommands(const std::vector<Command>& commands) : commands_(commands) {}
  std::string make_subcommand(const CLI::App* sub) const override {
    const auto command = std::find_if(commands_.begin(), commands_.end(),
                                      [&](const Command& each) { return each.name == sub->get_name(); });
    std::stringstream out;
    CLI::detail::format_help(out, sub->get_name(), command->summary, column_width_);
    return out.str();
  }

 private:
  const std::vector<Command>& commands_;
};

void add_flight_options(CLI::App& app, Invocation& invocation) {
  app.add_option("FLIGHT", invocation.inputs, "folders, files and patterns with the frames of one flight")
      ->required();
  app.add_option("-o,--out", invocation.out, "folder for everything that is written; made when missing")
      ->required();
  app.add_option("--threads", invocation.threads, "threads to use; 0 = all cores [0 to 1024]")
      ->check(CLI::Range(0, 1024))
      ->capture_default_str();
  app.add_option("--memory", invocation.memory, "memory to stay within, such as 1500M or 2G")
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
  if (command.takes.empty()) return;
  CLI::Option* taken = app.add_option(command.takes_name, invocation.inputs, command.takes);
  if (command.takes_one_of.empty())
    taken->required();
  else
    taken->expected(command.takes_is_optional ? 0 : 1, 1)
        ->required(!command.takes_is_optional)
        ->check(CLI::IsMember(command.takes_one_of));
}

void add_many_flights(CLI::App& app, Invocation& invocation) {
  app.add_flag(
      "--each", invocation.each,
      "take every folder below FLIGHT for a flight of its own, with its own folder below the output folder");
  app.add_flag("--list-commands", invocation.list_commands,
               "with --each: run nothing, print one command a flight for a scheduler");
}

// The options file comes first and flags beat it, so it must be read before the flags are.
std::string options_file_in(const std::vector<std::string>& words) {
  const std::string name = "--options-file";
  for (std::size_t i = 0; i < words.size(); ++i) {
    if (words[i] == name && i + 1 < words.size()) return words[i + 1];
    if (words[i].starts_with(name + "=")) return words[i].substr(name.size() + 1);
  }
  return {};
}

void add_command(Program& program, const Command& command, const std::string& options_file) {
  CLI::App* sub = program.app.add_subcommand(command.name, command.manual);
  sub->formatter(std::make_shared<PlainNames>());
  sub->callback([&program, &command] { program.chosen = &command; });
  if (command.reads_frames) {
    add_flight_options(*sub, program.invocation);
  } else {
    add_taken(*sub, command, program.invocation);
    if (command.about_program) return;
    sub->add_option("-o,--out", program.invocation.out,
                    "folder for the files that are written; made when missing");
  }
  if (command.name == "run") add_many_flights(*sub, program.invocation);
  sub->add_option("--options-file", program.options_file,
                  "options from a TOML file, or from the flight.json of an earlier run; flags beat it");
  add_talk_options(*sub, program.invocation);
  if (!options_file.empty()) read_options_file(options_file, command.describe);
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
  program->app.require_subcommand(1);
  program->commands = all_commands();
  program->app.formatter(std::make_shared<OneLineCommands>(program->commands));
  const std::string file = options_file_in(words);
  for (const Command& command : program->commands)
    add_command(*program, command, !words.empty() && words.front() == command.name ? file : std::string());
  return program;
}

}  // namespace lookdown::cli
