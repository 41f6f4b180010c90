// Small words for reading and writing optional fields of the record's JSON. Private to pipeline/ and stages
// that cache results.
#pragma once

#include <cmath>
#include <cstdint>
#include <limits>
#include <nlohmann/json.hpp>
#include <optional>
#include <stdexcept>
#include <string>
#include <type_traits>
#include <utility>
#include <vector>

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

/// Bytes are written as hexadecimal text: as a list of numbers they would take twenty times the memory and
/// six times the file.
inline void put(nlohmann::json& object, const char* key, const std::vector<std::uint8_t>& bytes) {
  constexpr const char* kDigits = "0123456789abcdef";
  std::string text;
  text.reserve(2 * bytes.size());
  for (const std::uint8_t byte : bytes) (text += kDigits[byte >> 4]) += kDigits[byte & 15];
  object[key] = std::move(text);
}

/// Throws std::runtime_error where a number, or one in a list, is beyond the whole numbers that T holds:
/// nlohmann's conversion of such is undefined.
template <class T>
void refuse_numbers_beyond(const nlohmann::json& value) {
  if constexpr (std::is_integral_v<T> && !std::is_same_v<T, bool> && !std::is_same_v<T, char>) {
    bool fits = true;
    if (value.is_number_unsigned()) {
      fits = std::in_range<T>(value.get<std::uint64_t>());
    } else if (value.is_number_integer()) {
      fits = std::in_range<T>(value.get<std::int64_t>());
    } else if (value.is_number_float()) {
      // The greatest number plus one is a power of two and so exact as double, which the greatest itself need
      // not be.
      const auto number = value.get<double>();
      fits = number >= static_cast<double>(std::numeric_limits<T>::lowest()) &&
             number < std::ldexp(1.0, std::numeric_limits<T>::digits);
    }
    if (!fits)
      throw std::runtime_error("the record holds " + value.dump() + " where a smaller whole number belongs");
  } else if constexpr (requires { typename T::value_type; } && !std::is_convertible_v<T, std::string>) {
    if (!value.is_array()) return;
    for (const nlohmann::json& element : value) refuse_numbers_beyond<typename T::value_type>(element);
  }
}

template <class T>
T checked(const nlohmann::json& value) {
  refuse_numbers_beyond<T>(value);
  return value.get<T>();
}

/// Reads `key` when present and not null; leaves `value` alone otherwise. Throws nlohmann's type_error on a
/// wrong type and std::runtime_error on a number that T cannot hold.
template <class T>
void take(const nlohmann::json& object, const char* key, T& value) {
  if (const auto found = object.find(key); found != object.end() && !found->is_null())
    value = checked<T>(*found);
}
template <class T>
void take(const nlohmann::json& object, const char* key, std::optional<T>& value) {
  if (const auto found = object.find(key); found != object.end() && !found->is_null())
    value = checked<T>(*found);
}

/// The reverse of `put`. Lists of numbers, as earlier records hold, are read as well.
inline void take(const nlohmann::json& object, const char* key, std::vector<std::uint8_t>& bytes) {
  const auto found = object.find(key);
  if (found == object.end() || found->is_null()) return;
  if (found->is_array()) {
    bytes = checked<std::vector<std::uint8_t>>(*found);
    return;
  }
  const auto& text = found->get_ref<const std::string&>();
  const auto digit = [&](char c) {
    if (c >= '0' && c <= '9') return c - '0';
    if (c >= 'a' && c <= 'f') return c - 'a' + 10;
    throw std::runtime_error(std::string("the record holds other than hexadecimal digits under ") + key);
  };
  if (text.size() % 2 != 0)
    throw std::runtime_error(std::string("the record holds half a byte under ") + key);
  bytes.resize(text.size() / 2);
  for (std::size_t i = 0; i < bytes.size(); ++i)
    bytes[i] = static_cast<std::uint8_t>(16 * digit(text[2 * i]) + digit(text[2 * i + 1]));
}

}  // namespace lookdown
