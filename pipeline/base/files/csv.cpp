#include "pipeline/base/files/csv.h"

#include <fmt/core.h>
#include <fmt/ranges.h>

#include <algorithm>
#include <charconv>
#include <cmath>
#include <fstream>
#include <iterator>
#include <optional>
#include <stdexcept>
#include <utility>

namespace lookdown {
namespace {

// Walks over the text one row at a time.
class RowReader {
 public:
  RowReader(std::string_view text, std::string origin) : text_(text), origin_(std::move(origin)) {
    constexpr std::string_view kByteOrderMark = "\xEF\xBB\xBF";
    if (text_.starts_with(kByteOrderMark)) text_.remove_prefix(kByteOrderMark.size());
  }
  [[nodiscard]] char separator() const { return separator_; }

  // The next row that holds anything, and the line on which it begins; nothing at the end.
  std::optional<std::pair<std::vector<std::string>, int>> next() {
    while (at_ < text_.size()) {
      const int line = line_;
      const std::string_view rest = text_.substr(at_, text_.find('\n', at_) - at_);
      const bool empty = rest.find_first_not_of(" \t\r,;") == std::string_view::npos;
      if (empty || rest.front() == '#') {
        at_ = std::min(text_.size(), at_ + rest.size() + 1);
        ++line_;
        continue;
      }
      if (separator_ == '\0') separator_ = separator_of(rest);
      return std::pair(cells(), line);
    }
    return std::nullopt;
  }

 private:
  // What stands most often in the first row outside quotes; a comma where none does. Words hold commas sooner
  // than semicolons or tabs.
  static char separator_of(std::string_view row) {
    std::map<char, int> count;
    bool quoted = false;
    for (const char c : row) {
      quoted ^= c == '"';
      if (!quoted) ++count[c];
    }
    char best = ',';
    for (const char c : {';', '\t'})
      if (count[c] > 0 && count[c] >= count[best]) best = c;
    return best;
  }

  static void trim(std::string& cell) {
    cell.erase(cell.find_last_not_of(" \t") + 1);
    cell.erase(0, cell.find_first_not_of(" \t"));
  }

  std::vector<std::string> cells() {
    std::vector<std::string> cells{{}};
    const int first_line = line_;
    bool quoted = false, was_quoted = false;
    const auto end_cell = [&] {
      if (!was_quoted) trim(cells.back());
      was_quoted = false;
    };
    while (at_ < text_.size()) {
      const char c = text_[at_++];
      if (c == '\n') ++line_;
      if (quoted) {
        if (c != '"')
          cells.back() += c;
        else if (at_ < text_.size() && text_[at_] == '"')
          cells.back() += text_[at_++];
        else
          quoted = false;
      } else if (c == '"') {
        if (!was_quoted) trim(cells.back());
        quoted = was_quoted = true;
      } else if (c == separator_) {
        end_cell();
        cells.emplace_back();
      } else if (c == '\n') {
        break;
      } else if (c != '\r' && !(was_quoted && c == ' ')) {
        cells.back() += c;
      }
    }
    if (quoted)
      throw std::runtime_error(
          fmt::format("{}, line {}: a quote is opened and never closed", origin_, first_line));
    end_cell();
    return cells;
  }

  std::string_view text_;
  std::string origin_;
  std::size_t at_ = 0;
  int line_ = 1;
  char separator_ = '\0';
};

}  // namespace

CsvTable CsvTable::read(const std::filesystem::path& file, const std::vector<std::string>& columns) {
  std::ifstream stream(file, std::ios::binary);
  const std::string text((std::istreambuf_iterator<char>(stream)), std::istreambuf_iterator<char>());
  if (!stream && !stream.eof())
    throw std::runtime_error(file.string() + ": cannot be read; check the name and its permissions");
  if (!std::filesystem::is_regular_file(file))
    throw std::runtime_error(file.string() + ": no such file; check the name");
  return parse(text, file.string(), columns);
}

CsvTable CsvTable::parse(std::string_view text, const std::string& origin,
                         const std::vector<std::string>& columns) {
  CsvTable table;
  table.origin_ = origin;
  RowReader reader(text, origin);
  const auto head = reader.next();
  if (!head) throw std::runtime_error(origin + ": is empty; its first row must name the columns");
  table.separator_ = reader.separator();
  for (std::size_t i = 0; i < head->first.size(); ++i) table.column_.emplace(head->first[i], i);
  for (const std::string& column : columns)
    if (!table.column_.contains(column))
      throw std::runtime_error(
          fmt::format("{}: the first row is \"{}\" and names no column \"{}\"; it must name {}", origin,
                      fmt::join(head->first, " "), column, fmt::join(columns, ",")));
  while (auto row = reader.next()) {
    if (row->first.size() < head->first.size())
      throw std::runtime_error(fmt::format("{}, line {}: has {} cells where the first row has {}", origin,
                                           row->second, row->first.size(), head->first.size()));
    table.rows_.push_back(std::move(row->first));
    table.lines_.push_back(row->second);
  }
  return table;
}

const std::string& CsvTable::text(std::size_t row, const std::string& column) const {
  return rows_.at(row).at(column_.at(column));
}

double CsvTable::number(std::size_t row, const std::string& column) const {
  std::string cell = text(row, column);
  if (separator_ != ',' && std::count(cell.begin(), cell.end(), ',') == 1 &&
      cell.find('.') == std::string::npos)
    cell[cell.find(',')] = '.';
  const char* const begin = cell.data() + (cell.starts_with('+') ? 1 : 0);
  double value = 0;
  const auto [end, error] = std::from_chars(begin, cell.data() + cell.size(), value);
  if (error != std::errc() || end != cell.data() + cell.size() || !std::isfinite(value))
    throw std::runtime_error(fmt::format("{}: column \"{}\" holds \"{}\", which is no number", where(row),
                                         column, text(row, column)));
  return value;
}

std::string CsvTable::where(std::size_t row) const {
  return fmt::format("{}, line {}", origin_, lines_.at(row));
}

std::string csv_cell(std::string text) {
  if (!text.empty() && std::string_view("=+-@\t\r").find(text.front()) != std::string_view::npos)
    text.insert(text.begin(), '\'');
  if (text.find_first_of(",\"\r\n") == std::string::npos) return text;
  std::string quoted = "\"";
  for (const char c : text) {
    if (c == '"') quoted += '"';
    quoted += c;
  }
  return quoted + "\"";
}

}  // namespace lookdown
