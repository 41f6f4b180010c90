#include "cli/reference/shell_completion.h"

#include <fmt/core.h>
#include <fmt/ranges.h>

#include <CLI/CLI.hpp>
#include <functional>
#include <sstream>

namespace lookdown::cli {
namespace {

std::vector<const CLI::App*> commands_of(const CLI::App& program) {
  return program.get_subcommands([](const CLI::App*) { return true; });
}

std::string first_line(const std::string& text) {
  return text.substr(0, text.find('\n'));
}

// The short line that the list of commands shows.
std::string summary_of(const CLI::App& program, const CLI::App& command) {
  const auto formatter = std::dynamic_pointer_cast<CLI::Formatter>(program.get_formatter());
  std::istringstream words(formatter->make_subcommand(&command));
  std::string name, summary;
  words >> name;
  std::getline(words >> std::ws, summary);
  return summary;
}

std::string replaced(std::string text, const std::string& what, const std::string& by) {
  for (std::size_t at = text.find(what); at != std::string::npos; at = text.find(what, at + by.size()))
    text.replace(at, what.size(), by);
  return text;
}

// Between single quotes every shell takes all but the quote itself as it stands; fish also knows the
// backslash there.
std::string single_quoted(const std::string& text) {
  return "'" + replaced(text, "'", "'\\''") + "'";
}

std::vector<std::string> dashed_names(const CLI::Option& option) {
  std::vector<std::string> names;
  for (const std::string& name : option.get_lnames()) names.push_back("--" + name);
  for (const std::string& name : option.get_snames()) names.push_back("-" + name);
  return names;
}

std::string for_bash(const CLI::App& program) {
  std::vector<std::string> names;
  std::string choices, options;
  for (const CLI::App* command : commands_of(program)) {
    names.push_back(command->get_name());
    std::vector<std::string> words;
    for (const CLI::Option* option : command->get_options()) {
      const std::vector<std::string> dashed = dashed_names(*option), allowed = allowed_words(*option);
      words.insert(words.end(), dashed.begin(), dashed.end());
      if (option->get_positional()) words.insert(words.end(), allowed.begin(), allowed.end());
      for (const std::string& name : dashed)
        if (!allowed.empty())
          choices +=
              fmt::format("    '{} {}') words='{}' ;;\n", command->get_name(), name, fmt::join(allowed, " "));
    }
    options += fmt::format("    {}) words='{}' ;;\n", command->get_name(), fmt::join(words, " "));
  }
  return fmt::format(R"(# Completion of lookdown for bash.
_lookdown() {{
  local word=${{COMP_WORDS[COMP_CWORD]}} before=${{COMP_WORDS[COMP_CWORD-1]}} command=${{COMP_WORDS[1]}} words=
  COMPREPLY=()
  if [ "$COMP_CWORD" -eq 1 ]; then
    COMPREPLY=($(compgen -W '{} --help --version' -- "$word"))
    return
  fi
  case "$command $before" in
{}  esac
  [ -n "$words" ] && {{ COMPREPLY=($(compgen -W "$words" -- "$word")); return; }}
  case $command in
{}  esac
  COMPREPLY=($(compgen -W "$words" -- "$word"))
}}
complete -o bashdefault -o default -F _lookdown lookdown
)",
                     fmt::join(names, " "), choices, options);
}

std::string zsh_option(const CLI::Option& option) {
  // Within a specification of _arguments brackets and colons have a meaning.
  const auto plain = [](std::string text) {
    for (const char* c : {"\\", "[", "]", ":"}) text = replaced(text, c, std::string("\\") + c);
    return text;
  };
  const std::string help = plain(first_line(option.get_description()));
  const std::vector<std::string> allowed = allowed_words(option);
  const std::string value =
      allowed.empty() ? ":value:_files" : fmt::format(":value:({})", fmt::join(allowed, " "));
  if (option.get_positional()) return "        " + single_quoted("*" + value) + " \\\n";
  std::string lines;
  for (const std::string& name : dashed_names(option)) {
    const std::string equals = is_switch(option) ? "" : name.starts_with("--") ? "=" : "+";
    lines += "        " +
             single_quoted(fmt::format("{}{}[{}]{}", name, equals, help, is_switch(option) ? "" : value)) +
             " \\\n";
  }
  return lines;
}

std::string for_zsh(const CLI::App& program) {
  std::string commands, options;
  for (const CLI::App* command : commands_of(program)) {
    commands +=
        "    " +
        single_quoted(command->get_name() + ":" + replaced(summary_of(program, *command), ":", "\\:")) + "\n";
    options += fmt::format("    {})\n      _arguments \\\n", command->get_name());
    for (const CLI::Option* option : command->get_options()) options += zsh_option(*option);
    options += "        && return 0 ;;\n";
  }
  return fmt::format(R"(#compdef lookdown
# Completion of lookdown for zsh.
_lookdown() {{
  local -a commands
  commands=(
{}  )
  if (( CURRENT == 2 )); then
    _describe command commands
    return
  fi
  local command=$words[2]
  shift words
  (( CURRENT-- ))
  case $command in
{}  esac
}}
_lookdown "$@"
)",
                     commands, options);
}

std::string for_fish(const CLI::App& program) {
  const auto quoted = [](const std::string& text) {
    return "'" + replaced(replaced(text, "\\", "\\\\"), "'", "\\'") + "'";
  };
  std::string lines = "# Completion of lookdown for fish.\n";
  for (const CLI::App* command : commands_of(program)) {
    lines += fmt::format("complete -c lookdown -f -n __fish_use_subcommand -a {} -d {}\n",
                         command->get_name(), quoted(summary_of(program, *command)));
    for (const CLI::Option* option : command->get_options()) {
      std::string line =
          fmt::format("complete -c lookdown -n '__fish_seen_subcommand_from {}'", command->get_name());
      const std::vector<std::string> allowed = allowed_words(*option);
      for (const std::string& name : option->get_lnames()) line += " -l " + name;
      for (const std::string& name : option->get_snames()) line += " -s " + name;
      if (option->get_positional() && allowed.empty())
        continue;  // names of files, as fish completes by itself
      if (!allowed.empty())
        line += fmt::format(" -f{} -a {}", option->get_positional() ? "" : " -r",
                            quoted(fmt::format("{}", fmt::join(allowed, " "))));
      else if (!is_switch(*option))
        line += " -r";
      lines += line + " -d " + quoted(first_line(option->get_description())) + "\n";
    }
  }
  return lines;
}

}  // namespace

std::vector<std::string> allowed_words(const CLI::Option& option) {
  // The parser keeps them in the name of the type, as in TEXT:{a,b}.
  const std::string type = option.get_type_name();
  const std::size_t from = type.find('{'), to = type.rfind('}');
  std::vector<std::string> words;
  if (from == std::string::npos || to == std::string::npos || to < from) return words;
  std::istringstream list(type.substr(from + 1, to - from - 1));
  for (std::string word; std::getline(list, word, ',');) words.push_back(word);
  return words;
}

bool is_switch(const CLI::Option& option) {
  return option.get_items_expected_max() == 0;
}

std::string shell_completion(const CLI::App& program, const std::string& shell) {
  if (shell == "zsh") return for_zsh(program);
  return shell == "fish" ? for_fish(program) : for_bash(program);
}

}  // namespace lookdown::cli
