#include <gtest/gtest.h>

#include <set>
#include <string>

#include "cli/commands/command.h"
#include "cli/reference/help_headings.h"

namespace lookdown::cli {
namespace {

class Names : public OptionVisitor {
 public:
  void option(const OptionText& text, bool&) override { see(text); }
  void option(const OptionText& text, int& value) override { see(text), in_range(text, value); }
  void option(const OptionText& text, double& value) override { see(text), in_range(text, value); }
  void option(const OptionText& text, std::string&) override { see(text); }
  void option(const OptionText& text, std::optional<double>&) override { see(text); }
  void option(const OptionText& text, std::vector<std::string>&) override { see(text); }
  std::set<std::string> seen;

 private:
  void see(const OptionText& text) {
    seen.insert(text.name);
    EXPECT_FALSE(std::string(text.help).empty()) << "--" << text.name << " has no help";
  }
  static void in_range(const OptionText& text, double value) {
    EXPECT_GE(value, text.least) << text.name;
    EXPECT_LE(value, text.most) << text.name;
  }
};

TEST(OptionNames, EveryOptionHasHelpAndADefaultInRange) {
  for (const Command& command : all_commands()) {
    SCOPED_TRACE(command.name);
    Names names;
    command.describe(names);
  }
}

TEST(OptionNames, EveryOptionStandsUnderAHeadingOfTheHelp) {
  std::set<std::string> named;
  for (const Heading& heading : headings()) {
    named.insert(heading.everyday.begin(), heading.everyday.end());
    named.insert(heading.further.begin(), heading.further.end());
  }
  for (const Command& command : all_commands()) {
    Names names;
    command.describe(names);
    for (const std::string& name : names.seen)
      EXPECT_TRUE(named.contains(name)) << command.name << " --" << name << ": add it to help_headings.cpp";
  }
}

TEST(OptionNames, EveryCommandHasAnExampleThatBeginsWithIt) {
  for (const Command& command : all_commands())
    EXPECT_TRUE(command.example.starts_with("lookdown " + command.name)) << command.name;
}

TEST(OptionNames, GeneralOptionsDoNotHideOneOfAStage) {
  const std::set<std::string> general{"out",   "options-file", "threads", "memory",   "no-cache", "json",
                                      "quiet", "verbose",      "help",    "help-all", "overwrite"};
  for (const Command& command : all_commands()) {
    Names names;
    command.describe(names);
    for (const std::string& name : names.seen)
      EXPECT_FALSE(general.contains(name)) << command.name << " --" << name;
  }
}

}  // namespace
}  // namespace lookdown::cli
