#include "cli/options/option_flags.h"

#include <fmt/core.h>

#include <CLI/CLI.hpp>
#include <array>
#include <cmath>
#include <string_view>

namespace lookdown::cli {
namespace {

std::string dashed(const OptionText& text) {
  return std::string("--") + text.name;
}

// What stands for the value in the help, out of the unit that the name ends with.
const char* value_name(const OptionText& text) {
  struct Unit {
    std::string_view ending;
    const char* name;
  };
  static constexpr std::array<Unit, 15> kUnits{{{"-file", "FILE"},
                                                {"-bar", "A,B,METRES"},
                                                {"-crs", "EPSG:CODE"},
                                                {"from", "FOLDER"},
                                                {"-px", "PIXELS"},
                                                {"-m", "METRES"},
                                                {"-mm", "MM"},
                                                {"-um", "MICROMETRES"},
                                                {"-deg", "DEGREES"},
                                                {"-m-s", "M/S"},
                                                {"-s", "SECONDS"},
                                                {"-h", "HOURS"},
                                                {"-min", "MINUTES"},
                                                {"-percent", "PERCENT"},
                                                {"date", "DATE"}}};
  for (const Unit& unit : kUnits)
    if (std::string_view(text.name).ends_with(unit.ending)) return unit.name;
  return nullptr;
}

const char* value_name_or(const OptionText& text, const char* otherwise) {
  const char* name = value_name(text);
  return name != nullptr ? name : otherwise;
}

std::string help_text(const OptionText& text) {
  return text.help + range_words(text);
}

double number_within(const OptionText& text, const std::string& given) {
  double number = 0;
  if (!CLI::detail::lexical_cast(given, number)) throw CLI::ValidationError("\"" + given + "\" is no number");
  if (!(number >= text.least && number <= text.most))
    throw CLI::ValidationError(given + " is out of range" + range_words(text));
  return number;
}

// Says the range in the message, which the library's own check does only for finite ends.
CLI::Validator within(const OptionText& text) {
  return CLI::Validator(
      [text](std::string& given) {
        (void)number_within(text, given);
        return std::string();
      },
      "");
}

}  // namespace

std::string range_words(const OptionText& text) {
  if (!text.choices.empty()) return "";
  const bool has_least = std::isfinite(text.least), has_most = std::isfinite(text.most);
  if (has_least && has_most) return fmt::format(" [{} to {}]", text.least, text.most);
  if (has_least) return fmt::format(" [{} or more]", text.least);
  if (has_most) return fmt::format(" [{} or less]", text.most);
  return "";
}

// Stages that need the same number declare the same option: it is given once and all of them get it.
bool FlagBinder::joined(const OptionText& text, const std::function<void(const std::string&)>& set) {
  CLI::Option* earlier = app_.get_option_no_throw(dashed(text));
  if (earlier == nullptr) return false;
  earlier->each(set);
  return true;
}

void FlagBinder::option(const OptionText& text, bool& value) {
  if (joined(text, [&value](const std::string& given) { value = given == "true"; })) return;
  app_.add_flag(fmt::format("--{0},!--no-{0}", text.name), value,
                help_text(text) + (value ? " (on by default)" : ""));
}

void FlagBinder::option(const OptionText& text, int& value) {
  if (joined(text, [text, &value](const std::string& given) { value = int(number_within(text, given)); }))
    return;
  app_.add_option(dashed(text), value, help_text(text))
      ->check(within(text))
      ->type_name(value_name_or(text, "NUMBER"))
      ->capture_default_str();
}

void FlagBinder::option(const OptionText& text, double& value) {
  if (joined(text, [text, &value](const std::string& given) { value = number_within(text, given); })) return;
  app_.add_option(dashed(text), value, help_text(text))
      ->check(within(text))
      ->type_name(value_name_or(text, "NUMBER"))
      ->capture_default_str();
}

void FlagBinder::option(const OptionText& text, std::string& value) {
  if (joined(text, [&value](const std::string& given) { value = given; })) return;
  CLI::Option* added = app_.add_option(dashed(text), value, help_text(text));
  added->type_name(value_name_or(text, "TEXT"));
  if (!value.empty()) added->capture_default_str();
  if (!text.choices.empty()) added->check(CLI::IsMember(text.choices));
}

void FlagBinder::option(const OptionText& text, std::optional<double>& value) {
  if (joined(text, [text, &value](const std::string& given) { value = number_within(text, given); })) return;
  app_.add_option(dashed(text), value, help_text(text))
      ->check(within(text))
      ->type_name(value_name_or(text, "NUMBER"));
}

void FlagBinder::option(const OptionText& text, std::vector<std::string>& value) {
  if (joined(text, [&value](const std::string& given) { value.push_back(given); })) return;
  // A list is one word, so that it cannot swallow the names of folders that follow it.
  CLI::Option* added = app_.add_option(dashed(text), value, help_text(text))->allow_extra_args(false);
  if (text.element)
    added->type_name(text.element);
  else
    added->delimiter(',')->type_name(value_name_or(text, "NAME,NAME,..."));
}

}  // namespace lookdown::cli
