#include "pipeline/base/options/option_json.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <stdexcept>

namespace lookdown {
namespace {

using ::testing::AllOf;
using ::testing::HasSubstr;
using ::testing::ThrowsMessage;

struct Sample {
  bool flag = false;
  int count = 3;
  double limit_px = 1.5;
  std::optional<double> height_m;
  std::string order = "best";
  std::vector<std::string> names;
};

Describe describe(Sample& sample) {
  return [&sample](OptionVisitor& visitor) {
    visitor.option({"flag", ""}, sample.flag);
    visitor.option({"count", "", 0, 10}, sample.count);
    visitor.option({"limit-px", "", 0, 100}, sample.limit_px);
    visitor.option({"height-m", "", 0, 500}, sample.height_m);
    visitor.option({"order", "", 0, 0, {"best", "newest"}}, sample.order);
    visitor.option({"names", ""}, sample.names);
  };
}

TEST(OptionJson, WritingAndReadingBackGivesTheSameOptions) {
  Sample first;
  first.flag = true;
  first.count = 7;
  first.height_m = 30.5;
  first.order = "newest";
  first.names = {"a", "b"};
  Sample second;
  options_from_json(describe(second), options_to_json(describe(first)), "record");
  EXPECT_EQ(options_to_json(describe(second)), options_to_json(describe(first)));
  EXPECT_EQ(second.height_m, 30.5);
}

TEST(OptionJson, MisspeltNameIsRefusedAndTheNearestNamed) {
  Sample sample;
  EXPECT_THAT([&] { options_from_json(describe(sample), R"({"limit-xp": 2})", "my.toml"); },
              ThrowsMessage<std::runtime_error>(
                  AllOf(HasSubstr("my.toml"), HasSubstr("limit-xp"), HasSubstr("\"limit-px\""))));
}

TEST(OptionJson, WrongTypesAndRangesAreRefused) {
  Sample sample;
  for (const char* wrong : {R"({"count": 2.5})", R"({"count": 11})", R"({"limit-px": "2"})", R"({"flag": 1})",
                            R"({"order": "oldest"})", R"({"names": [1]})", R"({"height-m": -1})", "[]"})
    EXPECT_THROW(options_from_json(describe(sample), wrong, "t"), std::runtime_error) << wrong;
}

TEST(OptionJson, MemoryIsReadWithUnits) {
  EXPECT_EQ(parse_memory("2G"), 2'000'000'000);
  EXPECT_EQ(parse_memory("1500m"), 1'500'000'000);
  EXPECT_EQ(parse_memory("150000000"), 150'000'000);
  for (const char* wrong : {"", "G", "2T", "-1G", "10", "nan", "1e300", "2GB"})
    EXPECT_THROW((void)parse_memory(wrong), std::runtime_error) << wrong;
}

}  // namespace
}  // namespace lookdown
