#include "pipeline/base/csv.h"

#include <fmt/core.h>

#include <charconv>
#include <cmath>
#include <fstream>
#include <iterator>
#include <stdexcept>

namespace lookdown {
namespace {

// Walks over the text one row at a time.
class RowReader {
 public:
  RowReader(std::string_view text, std::string origin) : text_(text), origin_(std::move(origin)) {
    constexpr std::string_view kByteOrderMark = "\xEF\xBB\xBF";
    if (text_.starts_with(kByteOrderMark)) text_.remove_prefix(kByteOrderMark.size());
  }
  [[nodiscard]] bool at_end() const { return at_ == text_.size(); }
  [[nodiscard]] int line() const { return line_; }

  std::vector<std::string> next() {
    std::vector<std::string> cells{{}};
    const int first_line = line_;
    bool quoted = false;
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
        quoted = true;
      } else if (c == ',') {
        cells.emplace_back();
      } else if (c == '\n') {
        return cells;
      } else if (c != '\r') {
        cells.back() += c;
      }
    }
    if (quoted)
      throw std::runtime_error(
          fmt::format("{}, line {}: a quote is opened and never closed", origin_, first_line));
    return cells;
  }

 private:
  std::string_view text_;
  std::string origin_;
  std::size_t at_ = 0;
  int line_ = 1;
};

bool blank(const std::vector<std::string>& cells) {
  return cells.size() == 1 && cells.front().empty();
}

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
  const std::vector<std::string> head = reader.next();
  for (std::size_t i = 0; i < head.size(); ++i) table.column_.emplace(head[i], i);
  for (const std::string& column : columns)
    if (!table.column_.contains(column))
      throw std::runtime_error(fmt::format("{}: the first row names no column \"{}\"", origin, column));
  while (!reader.at_end()) {
    const int line = reader.line();
    std::vector<std::string> cells = reader.next();
    if (blank(cells)) continue;
    if (cells.size() < head.size())
      throw std::runtime_error(fmt::format("{}, line {}: has {} cells where the first row has {}", origin,
                                           line, cells.size(), head.size()));
    table.rows_.push_back(std::move(cells));
    table.lines_.push_back(line);
  }
  return table;
}

const std::string& CsvTable::text(std::size_t row, const std::string& column) const {
  return rows_.at(row).at(column_.at(column));
}

double CsvTable::number(std::size_t row, const std::string& column) const {
  const std::string& cell = text(row, column);
  double value = 0;
  const auto [end, error] = std::from_chars(cell.data(), cell.data() + cell.size(), value);
  if (error != std::errc() || end != cell.data() + cell.size() || !std::isfinite(value))
    throw std::runtime_error(
        fmt::format("{}: column \"{}\" holds \"{}\", which is no number", where(row), column, cell));
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
