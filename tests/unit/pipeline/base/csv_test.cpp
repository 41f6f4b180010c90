#include "pipeline/base/csv.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <stdexcept>

namespace lookdown {
namespace {

using ::testing::HasSubstr;
using ::testing::ThrowsMessage;

TEST(Csv, QuotesCommasAndLineEndsFollowRfc4180) {
  const CsvTable table = CsvTable::parse(
      "\xEF\xBB\xBF"
      "file,verdict\r\n\"a,\"\"b\"\".jpg\",keep\r\n\r\nc.jpg,drop",
      "t.csv", {"file", "verdict"});
  ASSERT_EQ(table.rows(), 2U);
  EXPECT_EQ(table.text(0, "file"), "a,\"b\".jpg");
  EXPECT_EQ(table.text(1, "verdict"), "drop");
}

TEST(Csv, ErrorsNameFileLineAndColumn) {
  EXPECT_THAT([] { (void)CsvTable::parse("a,b\n1,2\n", "t.csv", {"c"}); },
              ThrowsMessage<std::runtime_error>(HasSubstr("\"c\"")));
  EXPECT_THAT([] { (void)CsvTable::parse("a,b\n1\n", "t.csv", {"a"}); },
              ThrowsMessage<std::runtime_error>(HasSubstr("t.csv, line 2")));
  EXPECT_THAT([] { (void)CsvTable::parse("a\n\"open\n", "t.csv", {"a"}); },
              ThrowsMessage<std::runtime_error>(HasSubstr("never closed")));
  const CsvTable table = CsvTable::parse("a,b\n1,2x\n", "t.csv", {"a"});
  EXPECT_DOUBLE_EQ(table.number(0, "a"), 1);
  EXPECT_THAT([&] { (void)table.number(0, "b"); },
              ThrowsMessage<std::runtime_error>(HasSubstr("line 2: column \"b\"")));
  EXPECT_THAT([] { (void)CsvTable::read("/nowhere/x.csv", {}); },
              ThrowsMessage<std::runtime_error>(HasSubstr("/nowhere/x.csv")));
}

}  // namespace
}  // namespace lookdown
