#include "cli/reference/manual_page.h"

#include <fmt/core.h>

#include <CLI/CLI.hpp>
#include <set>
#include <sstream>

#include "cli/reference/shell_completion.h"
#include "cli/version.h"

namespace lookdown::cli {
namespace {

// roff takes a backslash for an escape, a dash for a hyphen, and a dot or quote at the start of a line for a
// request.
std::string roff(const std::string& text) {
  std::string out;
  bool line_starts = true;
  for (const char c : text) {
    if (line_starts && (c == '.' || c == '\'')) out += "\\&";
    if (c == '\\')
      out += "\\e";
    else if (c == '-')
      out += "\\-";
    else
      out += c;
    line_starts = c == '\n';
  }
  return out;
}

// Options that most commands share stand once, at the end.
const std::set<std::string> kGeneral{"help",         "out",  "threads", "memory", "no-cache",
                                     "options-file", "json", "quiet",   "verbose"};

bool is_general(const CLI::Option& option) {
  return !option.get_lnames().empty() && kGeneral.contains(option.get_lnames().front());
}

std::string entry(const CLI::Option& option) {
  std::string head;
  if (option.get_positional()) head = "\\fI" + roff(option.get_name(true)) + "\\fR";
  for (const std::string& name : option.get_snames())
    head += (head.empty() ? "" : ", ") + ("\\fB\\-" + roff(name) + "\\fR");
  for (const std::string& name : option.get_lnames())
    head += (head.empty() ? "" : ", ") + ("\\fB\\-\\-" + roff(name) + "\\fR");
  if (!option.get_positional() && !is_switch(option)) head += " \\fI" + roff(option.get_type_name()) + "\\fR";
  std::string text = roff(option.get_description());
  if (!option.get_default_str().empty())
    text += fmt::format(" (default: {})", roff(option.get_default_str()));
  return fmt::format(".TP\n{}\n{}\n", head, text);
}

std::string command_section(const CLI::App& command) {
  std::string text = fmt::format(".SS {}\n{}\n", roff(command.get_name()), roff(command.get_description()));
  for (const CLI::Option* option : command.get_options())
    if (!is_general(*option)) text += entry(*option);
  return text;
}

std::string general_section(const CLI::App& command) {
  std::string text = ".SH GENERAL OPTIONS\n";
  for (const CLI::Option* option : command.get_options())
    if (is_general(*option)) text += entry(*option);
  return text;
}

constexpr const char* kRest = R"(.SH FILES
.TP
.I lookdown.toml
Options by their long names, one a line; given by
.BR \-\-options\-file .
.B lookdown options
prints one with every default.
.TP
.I flight.json
What a run decided and with which options; it can be given as an options file too.
.SH EXIT STATUS
0 done, 1 nothing usable, 2 wrong use, 3 failed.
.SH EXAMPLES
.TP
.B lookdown run /media/card/flight3 \-o flight3
The whole way from a card to the mosaic and the report.
.TP
.B lookdown run \-\-each flights \-o results
Every folder below
.I flights
by itself, with an index page at the end.
)";

}  // namespace

std::string manual_page(const CLI::App& program) {
  std::string page = fmt::format(
      ".TH LOOKDOWN 1 \"\" \"lookdown {0}\" \"User Commands\"\n"
      ".SH NAME\nlookdown \\- frames from a lifted camera to one straight\\-down picture\n"
      ".SH SYNOPSIS\n.B lookdown\n\\fICOMMAND\\fR [\\fIOPTION\\fR]... [\\fIFLIGHT\\fR]...\n"
      ".SH DESCRIPTION\n{1}\n.SH COMMANDS\n",
      kVersion, roff(program.get_description()));
  for (const CLI::App* command : program.get_subcommands([](const CLI::App*) { return true; }))
    page += command_section(*command);
  page += general_section(*program.get_subcommand("run"));
  return page + kRest + ".SH CAUTIONS\n" + roff(program.get_footer()) + "\n";
}

}  // namespace lookdown::cli
