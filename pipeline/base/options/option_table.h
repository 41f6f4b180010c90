// Options are declared once, beside the struct that holds them: name, unit in the name, default (the member's
// value), range and help. A visitor turns the table into flags, help, an options file, the record and range
// checks.
#pragma once

#include <limits>
#include <optional>
#include <string>
#include <vector>

namespace lookdown {

/// How one option is called and what it takes. `name` is the long flag without dashes, e.g. "max-blur-px".
struct OptionText {
  const char* name;
  const char* help;
  double least = -std::numeric_limits<double>::infinity();
  double most = std::numeric_limits<double>::infinity();
  std::vector<std::string> choices = {};  ///< for strings: the words allowed; empty = free text
  /// For lists: null where elements are names, which a comma parts; else what one element looks like. It is
  /// then taken whole and given anew for each.
  const char* element = nullptr;
};

/// Sees every option of a struct in turn. `describe(Options&, OptionVisitor&)` calls one overload for each
/// member.
class OptionVisitor {
 public:
  virtual ~OptionVisitor() = default;
  virtual void option(const OptionText&, bool&) = 0;
  virtual void option(const OptionText&, int&) = 0;
  virtual void option(const OptionText&, double&) = 0;
  virtual void option(const OptionText&, std::string&) = 0;
  virtual void option(const OptionText&, std::optional<double>&) = 0;
  virtual void option(const OptionText&, std::vector<std::string>&) = 0;
};

}  // namespace lookdown
