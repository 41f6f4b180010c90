#include "cli/reference/help_page.h"

#include <fmt/core.h>
#include <fmt/ranges.h>
#include <sys/ioctl.h>
#include <unistd.h>

#include <CLI/CLI.hpp>
#include <algorithm>
#include <sstream>

#include "cli/commands/command.h"
#include "cli/reference/help_headings.h"
#include "cli/reference/shell_completion.h"

namespace lookdown::cli {
namespace {

constexpr std::size_t kTextColumn = 32;  // where an option's help begins

std::string shape_of(const CLI::Option& option) {
  std::string names;
  for (const std::string& name : option.get_snames()) names += "-" + name + ", ";
  names += "--" + option.get_lnames().front();
  if (is_switch(option)) return names;
  const std::vector<std::string> allowed = allowed_words(option);
  return names + " " +
         (allowed.empty() ? option.get_type_name() : fmt::format("{}", fmt::join(allowed, "|")));
}

std::string text_of(const CLI::Option& option) {
  std::string text = option.get_description();
  if (!option.get_default_str().empty()) text += fmt::format(" (default {})", option.get_default_str());
  return text;
}

std::string entry(const std::string& head, const std::string& text, std::size_t columns) {
  std::string line = "  " + head;
  if (line.size() + 2 > kTextColumn)
    line += "\n" + std::string(kTextColumn, ' ');
  else
    line.resize(kTextColumn, ' ');
  return line + wrapped(text, columns - kTextColumn, kTextColumn) + "\n";
}

std::vector<const CLI::Option*> named(const CLI::App& app, const std::vector<std::string>& names) {
  std::vector<const CLI::Option*> options;
  for (const std::string& name : names)
    if (const CLI::Option* option = app.get_option_no_throw("--" + name)) options.push_back(option);
  return options;
}

// Options that no heading names, in the order of their declaration.
std::vector<const CLI::Option*> unnamed(const CLI::App& app) {
  std::vector<const CLI::Option*> options;
  for (const CLI::Option* option : app.get_options()) {
    if (option->get_lnames().empty()) continue;
    const bool known = std::any_of(headings().begin(), headings().end(), [&](const Heading& heading) {
      const auto has = [&](const std::vector<std::string>& names) {
        return std::find(names.begin(), names.end(), option->get_lnames().front()) != names.end();
      };
      return has(heading.everyday) || has(heading.further);
    });
    if (!known) options.push_back(option);
  }
  return options;
}

std::string usage(const Command& command) {
  std::string line = "lookdown " + command.name;
  switch (command.takes) {
    case Takes::nothing:
      break;
    case Takes::frames:
      line += " " + command.takes_name + "... -o FOLDER";
      break;
    case Takes::results:
    case Takes::one_of_words:
      line += " " + command.takes_name;
      break;
    case Takes::maybe_one_word:
      line += " [" + command.takes_name + "]";
      break;
  }
  return line + (command.about_program ? "" : " [OPTION...]");
}

}  // namespace

std::size_t terminal_columns() {
  winsize size{};
  if (::isatty(STDOUT_FILENO) == 0 || ::ioctl(STDOUT_FILENO, TIOCGWINSZ, &size) != 0 || size.ws_col == 0)
    return 79;
  return std::clamp<std::size_t>(size.ws_col, 60, 110);
}

std::string wrapped(const std::string& text, std::size_t columns, std::size_t indent) {
  std::string out;
  std::istringstream paragraphs(text);
  for (std::string paragraph; std::getline(paragraphs, paragraph);) {
    if (!out.empty()) out += "\n" + (paragraph.empty() ? "" : std::string(indent, ' '));
    std::istringstream words(paragraph);
    std::size_t used = 0;
    for (std::string word; words >> word;) {
      if (used > 0 && used + 1 + word.size() > columns) {
        out += "\n" + std::string(indent, ' ');
        used = 0;
      }
      out += (used > 0 ? " " : "") + word;
      used += (used > 0 ? 1 : 0) + word.size();
    }
  }
  return out;
}

std::string help_page(const CLI::App& app, const Command& command, bool all, std::size_t columns) {
  std::string text = wrapped("lookdown " + command.name + ": " + command.summary, columns, 2) + "\n\n  " +
                     usage(command) + "\n\n" + wrapped(command.manual, columns, 0) + "\n";
  if (!command.example.empty()) text += "\nExample\n  " + command.example + "\n";
  if (command.takes != Takes::nothing) {
    std::string what = command.takes_help;
    if (!command.words.empty()) what += fmt::format(": {}", fmt::join(command.words, ", "));
    text += "\n" + entry(command.takes_name, what, columns);
  }
  std::size_t hidden = 0;
  for (const Heading& heading : headings()) {
    std::vector<const CLI::Option*> shown = named(app, heading.everyday);
    std::vector<const CLI::Option*> further = named(app, heading.further);
    if (&heading == &headings().back())
      for (const CLI::Option* option : unnamed(app)) further.push_back(option);
    if (all)
      shown.insert(shown.end(), further.begin(), further.end());
    else
      hidden += further.size();
    if (shown.empty()) continue;
    text += "\n" + heading.title + "\n";
    for (const CLI::Option* option : shown) text += entry(shape_of(*option), text_of(*option), columns);
  }
  if (hidden > 1)
    text += fmt::format("\n{} more options: lookdown {} --help-all\n", hidden - 1, command.name);
  return text;
}

}  // namespace lookdown::cli
