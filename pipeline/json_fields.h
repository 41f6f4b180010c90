// Small words for reading and writing optional fields of the record's JSON. Private to pipeline/ and stages that cache results.
#pragma once

#include <nlohmann/json.hpp>
#include <optional>
#include <string>
#include <type_traits>

namespace lookdown {

/// Writes `value` under `key`; an optional one that is not known is left out.
template <class T>
void put(nlohmann::json& object, const char* key, const T& value) {
  object[key] = value;
}
template <class T>
void put(nlohmann::json& object, const char* key, const std::optional<T>& value) {
  if (value) object[key] = *value;
}

/// Reads `key` when present and not null; leaves `value` alone otherwise. Throws nlohmann's type_error on a wrong type.
template <class T>
void take(const nlohmann::json& object, const char* key, T& value) {
  if (const auto found = object.find(key); found != object.end() && !found->is_null()) value = found->get<T>();
}
template <class T>
void take(const nlohmann::json& object, const char* key, std::optional<T>& value) {
  if (const auto found = object.find(key); found != object.end() && !found->is_null()) value = found->get<T>();
}

}  // namespace lookdown
