#include "cli/options/option_flags.h"

#include <fmt/core.h>

#include <CLI/CLI.hpp>
#include <cmath>

namespace lookdown::cli {
namespace {

std::string dashed(const OptionText& text) {
  return std::string("--") + text.name;
}

std::string help_text(const OptionText& text) {
  return text.help + range_words(text);
}

// Says the range in the message, which the library's own check does only for finite ends.
CLI::Validator within(const OptionText& text) {
  return CLI::Validator(
      [least = text.least, most = text.most,
       words = range_words(text)](const std::string& given) -> std::string {
        double number = 0;
        if (!CLI::detail::lexical_cast(given, number)) return "\"" + given + "\" is no number";
        return number >= least && number <= most ? "" : given + " is out of range" + words;
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

void FlagBinder::option(const OptionText& text, bool& value) {
  app_.add_flag(fmt::format("--{0},!--no-{0}", text.name), value,
                help_text(text) + (value ? " (on by default)" : ""));
}

void FlagBinder::option(const OptionText& text, int& value) {
  app_.add_option(dashed(text), value, help_text(text))->check(within(text))->capture_default_str();
}

void FlagBinder::option(const OptionText& text, double& value) {
  app_.add_option(dashed(text), value, help_text(text))->check(within(text))->capture_default_str();
}

void FlagBinder::option(const OptionText& text, std::string& value) {
  CLI::Option* added = app_.add_option(dashed(text), value, help_text(text));
  if (!value.empty()) added->capture_default_str();
  if (!text.choices.empty()) added->check(CLI::IsMember(text.choices));
}

void FlagBinder::option(const OptionText& text, std::optional<double>& value) {
  app_.add_option(dashed(text), value, help_text(text))->check(within(text))->type_name("FLOAT");
}

void FlagBinder::option(const OptionText& text, std::vector<std::string>& value) {
  CLI::Option* added = app_.add_option(dashed(text), value, help_text(text));
  if (text.element)
    added->allow_extra_args(false)->type_name(text.element);
  else
    added->delimiter(',')->type_name("NAME,...");
}

}  // namespace lookdown::cli
