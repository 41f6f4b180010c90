// The option table as command line flags.
#pragma once

#include <functional>
#include <string>

#include "pipeline/base/options/option_table.h"

namespace CLI {
class App;
}

namespace lookdown::cli {

/// " [0 to 1]" and the like; empty where there is no range.
std::string range_words(const OptionText&);

/// Adds every option that it is shown to a command, with help, range check and default. A name that the
/// command has already is the same option: what is given for it goes to both.
class FlagBinder : public OptionVisitor {
 public:
  explicit FlagBinder(CLI::App& app) : app_(app) {}
  void option(const OptionText&, bool&) override;
  void option(const OptionText&, int&) override;
  void option(const OptionText&, double&) override;
  void option(const OptionText&, std::string&) override;
  void option(const OptionText&, std::optional<double>&) override;
  void option(const OptionText&, std::vector<std::string>&) override;

 private:
  bool joined(const OptionText&, const std::function<void(const std::string&)>& set);

  CLI::App& app_;
};

}  // namespace lookdown::cli
