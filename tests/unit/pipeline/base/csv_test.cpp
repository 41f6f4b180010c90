#include "pipeline/base/files/csv.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <locale>
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

// RFC 4180, section 2, rules 5 to 7: quoted cells hold separators, line ends and doubled quotes.
TEST(Csv, LineEndsInsideQuotesBelongToTheCell) {
  const CsvTable table = CsvTable::parse("a,b\n\"one\ntwo # three\", x \n4,5\n", "t.csv", {"a", "b"});
  ASSERT_EQ(table.rows(), 2U);
  EXPECT_EQ(table.text(0, "a"), "one\ntwo # three");
  EXPECT_EQ(table.text(0, "b"), "x");
  EXPECT_EQ(table.where(1), "t.csv, line 4");
}

TEST(Csv, SemicolonsAndTabsSeparateAsSpreadsheetsOfManyCountriesWriteThem) {
  const CsvTable semicolons = CsvTable::parse("name;x;y\nstake 1;12,5;-3\n", "t.csv", {"name", "x", "y"});
  EXPECT_EQ(semicolons.text(0, "name"), "stake 1");
  EXPECT_DOUBLE_EQ(semicolons.number(0, "x"), 12.5);
  const CsvTable tabs = CsvTable::parse("name\tx, east\n\"a\tb\"\t1.5e3\n", "t.csv", {"name", "x, east"});
  EXPECT_EQ(tabs.text(0, "name"), "a\tb");
  EXPECT_DOUBLE_EQ(tabs.number(0, "x, east"), 1500);
  EXPECT_THROW((void)CsvTable::parse("a;b\n1,234,5;0\n", "t.csv", {"a"}).number(0, "a"), std::runtime_error);
}

TEST(Csv, NotesAndEmptyLinesArePassedOverAndStillCounted) {
  const CsvTable table =
      CsvTable::parse("# measured in May\n\nname , x\n# stakes\n,\n  A ,+2.25\n", "t.csv", {"name", "x"});
  ASSERT_EQ(table.rows(), 1U);
  EXPECT_EQ(table.text(0, "name"), "A");
  EXPECT_DOUBLE_EQ(table.number(0, "x"), 2.25);
  EXPECT_EQ(table.line(0), 6);
}

// A program in a German locale must read the same numbers: the decimal point is the file's, not the user's.
TEST(Csv, TheLocaleHasNoSay) {
  struct CommaForPoint : std::numpunct<char> {
    char do_decimal_point() const override { return ','; }
  };
  const std::locale before = std::locale::global(std::locale(std::locale(), new CommaForPoint));
  EXPECT_DOUBLE_EQ(CsvTable::parse("x,y\n1.5,2\n", "t.csv", {"x"}).number(0, "x"), 1.5);
  std::locale::global(before);
}

TEST(Csv, ErrorsNameFileLineAndColumn) {
  EXPECT_THAT([] { (void)CsvTable::parse("\n\n", "t.csv", {}); },
              ThrowsMessage<std::runtime_error>(HasSubstr("t.csv: is empty")));
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
