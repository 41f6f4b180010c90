// A value or the fault of one subject (usually a frame). A frame's fault is a value, not an exception: it
// becomes a reason in the record, and the flight goes on.
#pragma once

#include <exception>
#include <string>
#include <utility>
#include <variant>

namespace lookdown {

/// What went wrong with one subject, in words for the person who has the file.
struct Fault {
  std::string stage;    ///< stage that met it, e.g. "inspect"
  std::string subject;  ///< file or thing concerned, as the person knows it
  std::string detail;   ///< what is wrong, e.g. "ends after 31 of 1067 rows"
  std::string hint;     ///< what to do about it; may be empty

  /// "subject: detail; hint" on one line.
  [[nodiscard]] std::string message() const;
};

/// Shaped like std::expected<T, Fault> of C++23. Reading the absent side is a programming error
/// (std::bad_variant_access).
template <class T>
class Result {
 public:
  Result(T value) : content_(std::move(value)) {}
  Result(Fault fault) : content_(std::move(fault)) {}

  [[nodiscard]] bool has_value() const { return content_.index() == 0; }
  explicit operator bool() const { return has_value(); }
  [[nodiscard]] T& value() { return std::get<0>(content_); }
  [[nodiscard]] const T& value() const { return std::get<0>(content_); }
  T& operator*() { return value(); }
  const T& operator*() const { return value(); }
  T* operator->() { return &value(); }
  const T* operator->() const { return &value(); }
  [[nodiscard]] const Fault& error() const { return std::get<1>(content_); }

 private:
  std::variant<T, Fault> content_;
};

/// Thrown inside work on one frame; `for_each_frame` turns it into the frame's fault.
class FrameFault : public std::exception {
 public:
  explicit FrameFault(Fault of_frame) : fault(std::move(of_frame)), message_(fault.message()) {}
  [[nodiscard]] const char* what() const noexcept override { return message_.c_str(); }

  Fault fault;

 private:
  std::string message_;
};

}  // namespace lookdown
