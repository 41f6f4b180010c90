#include "stages/place/datum/control_points.h"

#include <algorithm>
#include <map>
#include <set>
#include <stdexcept>

#include "pipeline/base/files/csv.h"
#include "pipeline/base/robust_statistics.h"

namespace lookdown::place {
namespace {

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
  if (!control_file.empty()) {
    const CsvTable table = CsvTable::read(control_file, {"name", "x", "y", "z"});
    for (std::size_t row = 0; row < table.rows(); ++row) {
      ControlPoint point;
      point.name = table.text(row, "name");
      point.given = {table.number(row, "x"), table.number(row, "y"), table.number(row, "z")};
      point.has_position = true;
      point.check = std::find(check.begin(), check.end(), point.name) != check.end();
      if (!by_name.emplace(point.name, points.size()).second)
        throw std::runtime_error(table.where(row) + ": \"" + point.name + "\" is named twice");
      points.push_back(std::move(point));
    }
  }
  for (const std::string& name : check)
    if (!by_name.contains(name))
      warnings.push_back("check point \"" + name + "\" is not in the control file");
  if (marks_file.empty()) return points;

  const auto frames = frames_by_name(flight);
  const CsvTable marks = CsvTable::read(marks_file, {"file", "name", "x_px", "y_px"});
  for (std::size_t row = 0; row < marks.rows(); ++row) {
    const std::string& file = marks.text(row, "file");
    auto frame = frames.find(file);
    if (frame == frames.end()) frame = frames.find(last_part(file));
    if (frame == frames.end()) {
      warnings.push_back(marks.where(row) + ": no frame is called \"" + file + "\"");
      continue;
    }
    const auto [entry, added] = by_name.emplace(marks.text(row, "name"), points.size());
    if (added) {
      points.emplace_back();
      points.back().name = marks.text(row, "name");
    }
    points[entry->second].marks.push_back(
        {frame->second, {marks.number(row, "x_px"), marks.number(row, "y_px")}});
  }
  return points;
}

double ground_height_of(const std::vector<ControlPoint>& control) {
  std::vector<double> heights;
  for (const ControlPoint& p : control)
    if (p.has_position) heights.push_back(p.given.z());
  return median_in_place(heights);
}

}  // namespace lookdown::place
