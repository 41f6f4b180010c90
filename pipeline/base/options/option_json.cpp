#include "pipeline/base/options/option_json.h"

#include <fmt/core.h>
#include <fmt/ranges.h>

#include <algorithm>
#include <map>
#include <nlohmann/json.hpp>
#include <numeric>
#include <stdexcept>

namespace lookdown {
namespace {

using nlohmann::json;

class Writer : public OptionVisitor {
 public:
  json object = json::object();
  void option(const OptionText& text, bool& value) override { object[text.name] = value; }
  void option(const OptionText& text, int& value) override { object[text.name] = value; }
  void option(const OptionText& text, double& value) override { object[text.name] = value; }
  void option(const OptionText& text, std::string& value) override { object[text.name] = value; }
  void option(const OptionText& text, std::optional<double>& value) override {
    object[text.name] = value ? json(*value) : json(nullptr);
  }
  void option(const OptionText& text, std::vector<std::string>& value) override { object[text.name] = value; }
};

class Reader : public OptionVisitor {
 public:
  Reader(const json& object, std::string origin) : object_(object), origin_(std::move(origin)) {}

  void option(const OptionText& text, bool& value) override {
    read(text, value, &json::is_boolean, "true or false");
  }
  void option(const OptionText& text, int& value) override {
    read(text, value, &json::is_number_integer, "a whole number");
    check_range(text, value);
  }
  void option(const OptionText& text, double& value) override {
    read(text, value, &json::is_number, "a number");
    check_range(text, value);
  }
  void option(const OptionText& text, std::string& value) override {
    read(text, value, &json::is_string, "text in quotes");
    if (given(text) && !text.choices.empty() &&
        std::find(text.choices.begin(), text.choices.end(), value) == text.choices.end())
      fail(text.name, fmt::format("is \"{}\", but must be one of {}", value, fmt::join(text.choices, ", ")));
  }
  void option(const OptionText& text, std::optional<double>& value) override {
    double number = 0;
    if (!read(text, number, &json::is_number, "a number")) return;
    check_range(text, number);
    value = number;
  }
  void option(const OptionText& text, std::vector<std::string>& value) override {
    read(text, value, &json::is_array, "a list");
  }

  void refuse_unknown() const {
    for (const auto& [name, value] : object_.items())
      if (std::find(known_.begin(), known_.end(), name) == known_.end())
        throw std::runtime_error(fmt::format("{}: there is no option \"{}\"; the nearest is \"{}\"", origin_,
                                             name, nearest_name(name, known_)));
  }

 private:
  bool given(const OptionText& text) const {
    return object_.contains(text.name) && !object_[text.name].is_null();
  }

  template <class T>
  bool read(const OptionText& text, T& value, bool (json::*fits)() const noexcept, const char* wanted) {
    known_.emplace_back(text.name);
    if (!given(text)) return false;
    const json& entry = object_[text.name];
    if (!(entry.*fits)()) fail(text.name, fmt::format("is {}, but must be {}", entry.dump(), wanted));
    try {
      value = entry.get<T>();
    } catch (const json::exception&) {
      fail(text.name, fmt::format("is {}, but must be {}", entry.dump(), wanted));
    }
    return true;
  }
  void check_range(const OptionText& text, double value) const {
    if (value < text.least || value > text.most)
      fail(text.name, fmt::format("is {}, but must lie between {} and {}", value, text.least, text.most));
  }
  [[noreturn]] void fail(const char* name, const std::string& why) const {
    throw std::runtime_error(fmt::format("{}: option \"{}\" {}", origin_, name, why));
  }

  const json& object_;
  std::string origin_;
  std::vector<std::string> known_;
};

// Levenshtein distance, one row at a time.
std::size_t edit_distance(const std::string& a, const std::string& b) {
  std::vector<std::size_t> row(b.size() + 1);
  std::iota(row.begin(), row.end(), std::size_t{0});
  for (std::size_t i = 1; i <= a.size(); ++i) {
    std::size_t diagonal = row[0];
    row[0] = i;
    for (std::size_t j = 1; j <= b.size(); ++j) {
      const std::size_t replaced = diagonal + (a[i - 1] == b[j - 1] ? 0 : 1);
      diagonal = row[j];
      row[j] = std::min({row[j] + 1, row[j - 1] + 1, replaced});
    }
  }
  return row.back();
}

}  // namespace

std::string options_to_json(const Describe& describe) {
  Writer writer;
  describe(writer);
  return writer.object.dump();
}

void options_from_json(const Describe& describe, const std::string& object, const std::string& origin) {
  const json parsed = json::parse(object, nullptr, false);
  if (!parsed.is_object()) throw std::runtime_error(origin + ": holds no table of options");
  Reader reader(parsed, origin);
  describe(reader);
  reader.refuse_unknown();
}

std::string nearest_name(const std::string& word, const std::vector<std::string>& known) {
  const auto nearest =
      std::min_element(known.begin(), known.end(), [&](const std::string& a, const std::string& b) {
        return edit_distance(word, a) < edit_distance(word, b);
      });
  return nearest == known.end() ? std::string() : *nearest;
}

std::int64_t parse_memory(const std::string& text) {
  static const std::map<char, double> kUnits{{'K', 1e3}, {'M', 1e6}, {'G', 1e9}};
  std::size_t used = 0;
  double number = -1;
  try {
    number = std::stod(text, &used);
  } catch (const std::exception&) {
    used = 0;
  }
  double unit = 1;
  if (used + 1 == text.size()) {
    const auto found = kUnits.find(static_cast<char>(std::toupper(static_cast<unsigned char>(text.back()))));
    unit = found == kUnits.end() ? -1 : found->second;
  } else if (used != text.size()) {
    unit = -1;
  }
  if (used == 0 || unit < 0 || !(number * unit >= 1e8) || number * unit > 1e15)
    throw std::runtime_error("memory is \"" + text +
                             "\", but must be a size of at least 100M, such as 1500M or 2G");
  return static_cast<std::int64_t>(number * unit);
}

}  // namespace lookdown
