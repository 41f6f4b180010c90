#include "cli/options/toml_text.h"

#include <fmt/core.h>
#include <fmt/ranges.h>

#include <set>
#include <sstream>

#include "cli/options/option_flags.h"

namespace lookdown::cli {
namespace {

constexpr std::size_t kLineLength = 100;

std::string comment(const std::string& text) {
  std::istringstream words(text);
  std::string lines, line = "#";
  for (std::string word; words >> word;) {
    if (line.size() + 1 + word.size() > kLineLength) {
      lines += line + "\n";
      line = "#";
    }
    line += " " + word;
  }
  return lines + line + "\n";
}

// A basic string of TOML 1.0.
std::string toml_string(const std::string& text) {
  std::string out = "\"";
  for (const char c : text) {
    if (c == '"' || c == '\\')
      out += fmt::format("\\{}", c);
    else if (static_cast<unsigned char>(c) < 0x20 || c == 0x7F)
      out += fmt::format("\\u{:04X}", static_cast<int>(c));
    else
      out += c;
  }
  return out + "\"";
}

class Writer : public OptionVisitor {
 public:
  std::string text;
  void option(const OptionText& about, bool& value) override { add(about, value ? "true" : "false"); }
  void option(const OptionText& about, int& value) override { add(about, fmt::format("{}", value)); }
  void option(const OptionText& about, double& value) override { add(about, fmt::format("{}", value)); }
  void option(const OptionText& about, std::string& value) override { add(about, toml_string(value)); }
  void option(const OptionText& about, std::optional<double>& value) override {
    if (value)
      add(about, fmt::format("{}", *value));
    else
      add(about, "", "# ");
  }
  void option(const OptionText& about, std::vector<std::string>& value) override {
    std::vector<std::string> words;
    words.reserve(value.size());
    for (const std::string& word : value) words.push_back(toml_string(word));
    add(about, fmt::format("[{}]", fmt::join(words, ", ")));
  }

 private:
  void add(const OptionText& about, const std::string& value, const char* before = "") {
    if (!seen_.insert(about.name).second) return;  // stages that share an option get the same value
    text += "\n" + comment(about.help + range_words(about));
    if (!about.choices.empty()) text += comment(fmt::format("One of: {}.", fmt::join(about.choices, ", ")));
    text += fmt::format("{}{} = {}\n", before, about.name, value);
  }

  std::set<std::string> seen_;
};

}  // namespace

std::string options_as_toml(const Describe& describe) {
  Writer writer;
  describe(writer);
  return writer.text;
}

}  // namespace lookdown::cli
