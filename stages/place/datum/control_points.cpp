#include "stages/place/datum/control_points.h"

#include <algorithm>
#include <cctype>
#include <charconv>
#include <cmath>
#include <fstream>
#include <map>
#include <set>
#include <stdexcept>

namespace lookdown::place {
namespace {

struct Row {
  int line = 0;
  std::vector<std::string> cells;
};

std::string trimmed(const std::string& text) {
  const auto first = text.find_first_not_of(" \t\r\"");
  if (first == std::string::npos) return "";
  return text.substr(first, text.find_last_not_of(" \t\r\"") - first + 1);
}

std::vector<std::string> cells_of(const std::string& line) {
  std::vector<std::string> cells(1);
  bool quoted = false;
  for (char c : line) {
    if (c == '"') quoted = !quoted;
    if (c == ',' && !quoted) {
      cells.emplace_back();
    } else {
      cells.back() += c;
    }
  }
  for (std::string& cell : cells) cell = trimmed(cell);
  return cells;
}

[[noreturn]] void refuse(const std::string& file, int line, const std::string& what) {
  throw std::runtime_error(file + ", line " + std::to_string(line) + ": " + what);
}

/// Rows below a heading that must name `columns` in order; empty lines and lines that begin with # are passed
/// over.
std::vector<Row> read_rows(const std::string& file, const std::vector<std::string>& columns) {
  std::ifstream in(file);
  if (!in) throw std::runtime_error(file + ": cannot be read; check the name");
  std::vector<Row> rows;
  std::string line;
  bool heading = true;
  for (int number = 1; std::getline(in, line); ++number) {
    if (number == 1 && line.starts_with("\xEF\xBB\xBF")) line.erase(0, 3);
    if (trimmed(line).empty() || line.starts_with('#')) continue;
    Row row{number, cells_of(line)};
    if (heading) {
      heading = false;
      for (std::size_t c = 0; c < columns.size(); ++c)
        if (c >= row.cells.size() || row.cells[c] != columns[c])
          refuse(file, number,
                 "the heading's column " + std::to_string(c + 1) + " must be \"" + columns[c] + "\"");
      continue;
    }
    if (row.cells.size() < columns.size())
      refuse(file, number,
             "has " + std::to_string(row.cells.size()) + " cells, needs " + std::to_string(columns.size()));
    rows.push_back(std::move(row));
  }
  return rows;
}

double number(const std::string& file, const Row& row, std::size_t cell) {
  const std::string& text = row.cells[cell];
  double value = 0;
  const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), value);
  if (error != std::errc{} || end != text.data() + text.size() || !std::isfinite(value))
    refuse(file, row.line, "\"" + text + "\" is not a number");
  return value;
}

std::string last_part(const std::string& path) {
  const auto slash = path.find_last_of("/\\");
  return slash == std::string::npos ? path : path.substr(slash + 1);
}

/// Frames by full name, and by last part of the name where that is unique.
std::map<std::string, int> frames_by_name(const FlightRecord& flight) {
  std::map<std::string, int> index;
  std::set<std::string> doubtful;
  for (std::size_t i = 0; i < flight.frames.size(); ++i) {
    const std::string part = last_part(flight.frames[i].source.file);
    if (!index.emplace(part, int(i)).second) doubtful.insert(part);
  }
  for (const std::string& part : doubtful) index.erase(part);
  for (std::size_t i = 0; i < flight.frames.size(); ++i) {
    index[flight.frames[i].source.file] = int(i);
    if (!flight.frames[i].source.twin_file.empty()) index[flight.frames[i].source.twin_file] = int(i);
  }
  return index;
}

}  // namespace

std::vector<ControlPoint> read_control(const std::string& control_file, const std::string& marks_file,
                                       const std::vector<std::string>& check, const FlightRecord& flight,
                                       std::vector<std::string>& warnings) {
  std::vector<ControlPoint> points;
  std::map<std::string, std::size_t> by_name;
  if (!control_file.empty())
    for (const Row& row : read_rows(control_file, {"name", "x", "y", "z"})) {
      ControlPoint point;
      point.name = row.cells[0];
      point.given = {number(control_file, row, 1), number(control_file, row, 2),
                     number(control_file, row, 3)};
      point.has_position = true;
      point.check = std::find(check.begin(), check.end(), point.name) != check.end();
      if (!by_name.emplace(point.name, points.size()).second)
        refuse(control_file, row.line, "\"" + point.name + "\" is named twice");
      points.push_back(std::move(point));
    }
  for (const std::string& name : check)
    if (!by_name.contains(name))
      warnings.push_back("check point \"" + name + "\" is not in the control file");
  if (marks_file.empty()) return points;

  const auto frames = frames_by_name(flight);
  for (const Row& row : read_rows(marks_file, {"file", "name", "x_px", "y_px"})) {
    auto frame = frames.find(row.cells[0]);
    if (frame == frames.end()) frame = frames.find(last_part(row.cells[0]));
    if (frame == frames.end()) {
      warnings.push_back(marks_file + ", line " + std::to_string(row.line) + ": no frame is called \"" +
                         row.cells[0] + "\"");
      continue;
    }
    const auto [entry, added] = by_name.emplace(row.cells[1], points.size());
    if (added) {
      points.emplace_back();
      points.back().name = row.cells[1];
    }
    points[entry->second].marks.push_back(
        {frame->second, {number(marks_file, row, 2), number(marks_file, row, 3)}});
  }
  return points;
}

double ground_height_of(const std::vector<ControlPoint>& control) {
  std::vector<double> heights;
  for (const ControlPoint& p : control)
    if (p.has_position) heights.push_back(p.given.z());
  if (heights.empty()) return 0;
  std::nth_element(heights.begin(), heights.begin() + std::ptrdiff_t(heights.size() / 2), heights.end());
  return heights[heights.size() / 2];
}

}  // namespace lookdown::place
