#include "cli/unknown_words.h"

#include <fmt/core.h>

#include <algorithm>

#include "pipeline/base/options/option_json.h"

namespace lookdown::cli {
namespace {

// What begins with the word is nearer than what is as many letters away: --check means --check-points.
std::string nearest(const std::string& word, const std::vector<std::string>& known) {
  std::vector<std::string> longer;
  std::copy_if(known.begin(), known.end(), std::back_inserter(longer),
               [&](const std::string& name) { return name.starts_with(word); });
  return nearest_name(word, longer.empty() ? known : longer);
}

std::string command_complaint(const Program& program, const std::string& word) {
  std::vector<std::string> names;
  for (const Command& command : program.commands) names.push_back(command.name);
  if (std::find(names.begin(), names.end(), word) != names.end()) return {};
  return fmt::format("there is no command \"{}\"; the nearest is \"{}\"; lookdown --help lists them", word,
                     nearest(word, names));
}

std::vector<std::string> option_names(const CLI::App& app) {
  std::vector<std::string> names;
  for (const CLI::Option* option : app.get_options())
    for (const std::string& name : option->get_lnames()) names.push_back("--" + name);
  return names;
}

}  // namespace

std::string complaint_about_words(const Program& program, const std::vector<std::string>& words) {
  if (words.empty()) return {};
  const bool has_command = !words.front().starts_with('-');
  if (has_command)
    if (std::string complaint = command_complaint(program, words.front()); !complaint.empty())
      return complaint;
  const CLI::App& app = has_command ? *program.app.get_subcommand(words.front()) : program.app;
  const std::vector<std::string> known = option_names(app);
  for (const std::string& word : words) {
    if (word == "--") break;
    if (!word.starts_with("--")) continue;
    const std::string name = word.substr(0, word.find('='));
    if (std::find(known.begin(), known.end(), name) != known.end()) continue;
    return fmt::format("{0}there is no option {1}; the nearest is {2}; lookdown {3}--help-all lists them",
                       has_command ? words.front() + ": " : "", name, nearest(name, known),
                       has_command ? words.front() + " " : "");
  }
  return {};
}

}  // namespace lookdown::cli
