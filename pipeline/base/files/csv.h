// Small tables: choices, control points, marks, shapes come in, results go out. RFC 4180: quotes, CR LF or
// LF; UTF-8 with or without byte order mark. Spreadsheets of many countries separate by semicolons or tabs:
// the first row tells which. Empty lines and lines that begin with # are passed over; blanks around a cell
// that is not quoted are not part of it.
#pragma once

#include <filesystem>
#include <map>
#include <string>
#include <string_view>
#include <vector>

namespace lookdown {

/// A table whose first row names the columns.
class CsvTable {
 public:
  /// Throws std::runtime_error that names the file, the line and what is wrong: an unreadable file, a missing
  /// column of `columns`, a row that is too short, an open quote.
  static CsvTable read(const std::filesystem::path& file, const std::vector<std::string>& columns);
  /// The same from text; `origin` stands for the file name in messages.
  static CsvTable parse(std::string_view text, const std::string& origin,
                        const std::vector<std::string>& columns);

  [[nodiscard]] std::size_t rows() const { return rows_.size(); }
  [[nodiscard]] bool has(const std::string& column) const { return column_.contains(column); }
  [[nodiscard]] const std::string& text(std::size_t row, const std::string& column) const;
  /// A finite number, whatever the locale: a decimal point, or a decimal comma in a table whose cells are
  /// separated otherwise. Throws std::runtime_error naming file, line and column otherwise.
  [[nodiscard]] double number(std::size_t row, const std::string& column) const;
  /// "file, line 7" for messages about a row.
  [[nodiscard]] std::string where(std::size_t row) const;
  /// Line of the file on which a row begins, from 1.
  [[nodiscard]] int line(std::size_t row) const { return lines_.at(row); }

 private:
  std::string origin_;
  char separator_ = ',';
  std::map<std::string, std::size_t> column_;
  std::vector<std::vector<std::string>> rows_;
  std::vector<int> lines_;
};

/// Text as a cell of a table: quoted where RFC 4180 asks for it. What a spreadsheet would run as a formula (a
/// leading = + - @ or control character) gets an apostrophe in front.
[[nodiscard]] std::string csv_cell(std::string text);

}  // namespace lookdown
