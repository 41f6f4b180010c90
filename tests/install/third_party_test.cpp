#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <filesystem>
#include <sstream>

#include "program_run.h"

namespace lookdown {
namespace {

std::vector<std::string> cells_of(const std::string& row) {
  std::vector<std::string> cells;
  std::istringstream stream(row.substr(1));
  for (std::string cell; std::getline(stream, cell, '|');) {
    const auto first = cell.find_first_not_of(' '), last = cell.find_last_not_of(' ');
    cells.push_back(first == std::string::npos ? "" : cell.substr(first, last - first + 1));
  }
  return cells;
}

// Without line breaks, which fall anywhere in running text.
std::string one_line(std::string text) {
  std::istringstream words(text);
  std::string line;
  for (std::string word; words >> word;) line += (line.empty() ? "" : " ") + word;
  return line;
}

// Each package's own statement, as Debian's policy (section 12.5) has it lie in /usr/share/doc.
TEST(ThirdParty, EveryLicenceIsTheOneInThePackagesOwnCopyrightFile) {
  std::istringstream page(bytes_of(LOOKDOWN_SOURCE_DIR "/THIRD_PARTY.md"));
  int checked = 0;
  for (std::string line; std::getline(page, line);) {
    if (line.starts_with("| own")) break;  // the table of own code, which has no licence of others
    if (!line.starts_with("| ") || line.starts_with("| library")) continue;
    const std::vector<std::string> cells = cells_of(line);
    ASSERT_EQ(cells.size(), 6U) << line;
    const std::string file = "/usr/share/doc/" + cells[3] + "/copyright";
    if (!std::filesystem::exists(file) && cells[0].ends_with("(optional)")) continue;
    EXPECT_THAT(one_line(bytes_of(file)), ::testing::HasSubstr(cells[5])) << cells[0] << ": " << file;
    ++checked;
  }
  EXPECT_GE(checked, 15);
}

}  // namespace
}  // namespace lookdown
