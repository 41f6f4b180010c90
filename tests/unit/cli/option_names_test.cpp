#include <gtest/gtest.h>

#include <set>
#include <string>

#include "cli/commands/command.h"

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
    EXPECT_TRUE(seen.insert(text.name).second) << "--" << text.name << " is declared twice";
    EXPECT_FALSE(std::string(text.help).empty()) << "--" << text.name << " has no help";
  }
  static void in_range(const OptionText& text, double value) {
    EXPECT_GE(value, text.least) << text.name;
    EXPECT_LE(value, text.most) << text.name;
  }
};

TEST(OptionNames, EveryCommandNamesEachOptionOnceWithHelpAndADefaultInRange) {
  for (const Command& command : all_commands()) {
    SCOPED_TRACE(command.name);
    Names names;
    command.describe(names);
  }
}

TEST(OptionNames, GeneralOptionsDoNotHideOneOfAStage) {
  const std::set<std::string> general{"out",  "options-file", "threads", "memory", "no-cache",
                                      "json", "quiet",        "verbose", "help"};
  for (const Command& command : all_commands()) {
    Names names;
    command.describe(names);
    for (const std::string& name : names.seen)
      EXPECT_FALSE(general.contains(name)) << command.name << " --" << name;
  }
}

}  // namespace
}  // namespace lookdown::cli
