// Commands that print about the program itself: its options as a file, completion for shells, the manual
// page.
#include <fmt/core.h>

#include <algorithm>

#include "cli/commands/command.h"
#include "cli/options/toml_text.h"
#include "cli/program.h"
#include "cli/reference/manual_page.h"
#include "cli/reference/shell_completion.h"

namespace lookdown::cli {
namespace {

Command about_program(const char* name, const char* summary, const char* manual, const char* example,
                      std::function<int(const Invocation&)> run) {
  Command command;
  command.name = name;
  command.summary = summary;
  command.manual = manual;
  command.example = std::string("lookdown ") + example;
  command.run = std::move(run);
  command.takes = Takes::nothing;
  command.about_program = true;
  return command;
}

int print_options(const Invocation& invocation) {
  const std::string wanted = invocation.inputs.empty() ? "run" : invocation.inputs.front();
  const std::vector<Command> commands = all_commands();
  const auto command = std::find_if(commands.begin(), commands.end(),
                                    [&](const Command& each) { return each.name == wanted; });
  fmt::print(
      "# Options of lookdown {0} with their defaults. Given back by --options-file; flags on the command "
      "line beat it.\n{1}",
      wanted, options_as_toml(command->describe));
  return kDone;
}

}  // namespace

Command options_command() {
  Command command =
      about_program("options", "a commented options file with every default",
                    "Prints every option of a command (run unless another is named) as a TOML file with its "
                    "explanation and default. "
                    "Save it as lookdown.toml, change what you like and give it back by --options-file.",
                    "options > lookdown.toml", print_options);
  command.takes = Takes::maybe_one_word;
  command.takes_name = "COMMAND";
  command.takes_help = "command whose options are wanted";
  command.words = {"run",   "inspect", "cull",    "level",   "rectify",
                   "glare", "mosaic",  "measure", "control", "plan"};
  return command;
}

Command completion_command() {
  Command command = about_program(
      "completion", "completion of commands and options for a shell",
      "Prints what a shell needs to complete lookdown's commands and options. For bash: source "
      "<(lookdown completion bash); for\n"
      "zsh: save it as _lookdown in a folder of fpath; for fish: save it in "
      "~/.config/fish/completions/lookdown.fish.",
      "completion fish > ~/.config/fish/completions/lookdown.fish", [](const Invocation& invocation) {
        fmt::print("{}", shell_completion(make_program()->app, invocation.inputs.front()));
        return kDone;
      });
  command.takes = Takes::one_of_words;
  command.takes_name = "SHELL";
  command.takes_help = "shell to complete in";
  command.words = {"bash", "fish", "zsh"};
  return command;
}

Command manual_command() {
  return about_program("manual", "the manual page", "Prints the manual page for the program man.",
                       "manual | man -l -", [](const Invocation&) {
                         fmt::print("{}", manual_page(make_program()->app));
                         return kDone;
                       });
}

}  // namespace lookdown::cli
