#include <algorithm>
#include <stdexcept>

#include "pipeline/base/files/csv.h"
#include "stages/rectify/rectify.h"

namespace lookdown::rectify {
namespace {

constexpr const char* kKinds = "mark, corner, along or across";

GroundSigns& signs_of(std::vector<GroundSigns>& all, const std::string& file) {
  const auto found =
      std::find_if(all.begin(), all.end(), [&](const GroundSigns& s) { return s.file == file; });
  if (found != all.end()) return *found;
  all.push_back({});
  all.back().file = file;
  return all.back();
}

/// Ends of edges come in pairs of rows.
Result<std::vector<FrameEdge>> edges_of(const std::vector<Point2<StoredPx>>& ends, const std::string& file) {
  if (ends.size() % 2 != 0)
    return Fault{"rectify", file, "an edge has only one end", "give each edge two rows, one an end"};
  std::vector<FrameEdge> edges;
  for (std::size_t i = 0; i + 1 < ends.size(); i += 2) edges.push_back({ends[i], ends[i + 1]});
  return edges;
}

}  // namespace

std::vector<GroundSigns> read_ground_signs(const std::filesystem::path& file) {
  const CsvTable table = CsvTable::read(file, {"file", "sign", "x_px", "y_px", "x_m", "y_m"});
  std::vector<GroundSigns> all;
  for (std::size_t row = 0; row < table.rows(); ++row) {
    GroundSigns& signs = signs_of(all, table.text(row, "file"));
    const std::string& kind = table.text(row, "sign");
    const Point2<StoredPx> at{table.number(row, "x_px"), table.number(row, "y_px")};
    if (kind == "mark") {
      signs.marks.push_back(at);
      signs.positions.push_back({table.number(row, "x_m"), table.number(row, "y_m")});
    } else if (kind == "corner") {
      if (signs.corners.empty()) {
        signs.width_m = table.number(row, "x_m");
        signs.length_m = table.number(row, "y_m");
      }
      signs.corners.push_back(at);
    } else if (kind == "along") {
      signs.ends_along.push_back(at);
    } else if (kind == "across") {
      signs.ends_across.push_back(at);
    } else {
      throw std::runtime_error(table.where(row) + ": sign is \"" + kind + "\", but must be " + kKinds);
    }
  }
  return all;
}

Result<GroundView> view_from_signs(const Camera& camera, const GroundSigns& signs, const Options& options) {
  const int kinds = !signs.marks.empty() + !signs.corners.empty() +
                    !(signs.ends_along.empty() && signs.ends_across.empty());
  if (kinds != 1)
    return Fault{"rectify", signs.file, "its rows mix marks, corners and edges",
                 "keep one kind of sign for a frame"};
  if (!signs.marks.empty()) return view_from_marks(camera, signs.marks, signs.positions, options);
  if (!signs.corners.empty()) {
    if (signs.corners.size() != 4)
      return Fault{"rectify", signs.file, "a rectangle needs four corners", "give the four corners in turn"};
    return view_from_rectangle(camera,
                               {signs.corners[0], signs.corners[1], signs.corners[2], signs.corners[3]},
                               signs.width_m, signs.length_m, options);
  }
  const auto along = edges_of(signs.ends_along, signs.file), across = edges_of(signs.ends_across, signs.file);
  if (!along) return along.error();
  if (!across) return across.error();
  return view_from_parallels(camera, *along, *across, options);
}

}  // namespace lookdown::rectify
