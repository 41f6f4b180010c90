#include "cli/options/options_file.h"

#include <fstream>
#include <iterator>
#include <nlohmann/json.hpp>
#include <sstream>
#include <stdexcept>
#include <toml.hpp>

namespace lookdown::cli {
namespace {

using nlohmann::json;

json value_json(const toml::value& value) {
  switch (value.type()) {
    case toml::value_t::boolean:
      return value.as_boolean();
    case toml::value_t::integer:
      return value.as_integer();
    case toml::value_t::floating:
      return value.as_floating();
    case toml::value_t::string:
      return value.as_string().str;
    case toml::value_t::array: {
      json list = json::array();
      for (const toml::value& entry : value.as_array()) list.push_back(value_json(entry));
      return list;
    }
    default:
      return json::object();  // tables and dates are refused by the type check of the option
  }
}

// toml11 3.7 reads beyond its text where a quoted key is not UTF-8, so that is refused first.
bool is_utf8(const std::string& text) {
  try {
    (void)json(text).dump();
    return true;
  } catch (const json::type_error&) {
    return false;
  }
}

json table_from_toml(const std::string& text, const std::string& file) {
  if (!is_utf8(text))
    throw std::runtime_error(file + ": is no valid options file: it is not UTF-8; save it as UTF-8");
  std::istringstream stream(text);
  try {
    const toml::value root = toml::parse(stream, file);
    json table = json::object();
    for (const auto& [name, value] : root.as_table()) table[name] = value_json(value);
    return table;
  } catch (const toml::exception& error) {
    throw std::runtime_error(file + ": is no valid options file: " + error.what());
  } catch (const std::runtime_error& error) {
    throw std::runtime_error(file + ": is no valid options file: " + error.what());
  }
}

json table_from_record(const std::string& text, const std::string& file) {
  const json record = json::parse(text, nullptr, false);
  if (!record.is_object() || !record.contains("options"))
    throw std::runtime_error(file + ": is neither an options file nor a flight record");
  return record["options"];
}

}  // namespace

void read_options_file(const std::filesystem::path& file, const Describe& describe) {
  std::ifstream stream(file, std::ios::binary);
  if (!stream) throw std::runtime_error(file.string() + ": options file cannot be opened; check the name");
  const std::string text((std::istreambuf_iterator<char>(stream)), std::istreambuf_iterator<char>());
  const bool is_record = text.find_first_not_of(" \t\r\n") != std::string::npos &&
                         text[text.find_first_not_of(" \t\r\n")] == '{';
  const json table =
      is_record ? table_from_record(text, file.string()) : table_from_toml(text, file.string());
  options_from_json(describe, table.dump(), file.string());
}

}  // namespace lookdown::cli
