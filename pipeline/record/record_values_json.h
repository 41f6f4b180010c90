// JSON of every value whose fields record_fields.h names, the way the JSON library asks for it. Private to
// pipeline/.
#pragma once

#include <stdexcept>

#include "pipeline/record/json_fields.h"
#include "pipeline/record/record_fields.h"

// A matrix is written row by row, as in the file contract.
template <int Rows, int Columns>
struct nlohmann::adl_serializer<Eigen::Matrix<double, Rows, Columns>> {
  static void to_json(json& numbers, const Eigen::Matrix<double, Rows, Columns>& m) {
    numbers = json::array();
    for (int row = 0; row < Rows; ++row)
      for (int column = 0; column < Columns; ++column) numbers.push_back(m(row, column));
  }
  static void from_json(const json& numbers, Eigen::Matrix<double, Rows, Columns>& m) {
    const auto given = numbers.get<std::array<double, static_cast<std::size_t>(Rows * Columns)>>();
    if (numbers.size() != given.size()) throw std::runtime_error("a matrix has a wrong count of numbers");
    for (int row = 0; row < Rows; ++row)
      for (int column = 0; column < Columns; ++column)
        m(row, column) = given.at(static_cast<std::size_t>(Columns) * static_cast<std::size_t>(row) +
                                  static_cast<std::size_t>(column));
  }
};

namespace lookdown {

template <class T>
concept HasFields = requires(T& value) {
  each_field(value, [](const char*, auto&) {});
};

void to_json(nlohmann::json& object, const HasFields auto& value) {
  object = nlohmann::json::object();
  each_field(value, [&](const char* name, const auto& member) { put(object, name, member); });
}

/// What the object does not hold keeps its default.
void from_json(const nlohmann::json& object, HasFields auto& value) {
  if (!object.is_object()) throw std::runtime_error("a table of named values is something else");
  each_field(value, [&](const char* name, auto& member) { take(object, name, member); });
}

inline void to_json(nlohmann::json& text, View view) {
  text = word(view);
}
inline void to_json(nlohmann::json& text, Verdict verdict) {
  text = word(verdict);
}
inline void to_json(nlohmann::json& text, Projection projection) {
  text = word(projection);
}
inline void from_json(const nlohmann::json& text, Projection& projection) {
  projection = projection_from_word(text.get<std::string>()).value_or(projection);
}
inline void from_json(const nlohmann::json& text, View& view) {
  view = view_from_word(text.get<std::string>()).value_or(view);
}
inline void from_json(const nlohmann::json& text, Verdict& verdict) {
  verdict = verdict_from_word(text.get<std::string>()).value_or(verdict);
}

}  // namespace lookdown
