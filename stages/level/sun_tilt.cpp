#include "stages/level/sun_tilt.h"

#include <Eigen/Geometry>
#include <algorithm>
#include <cmath>
#include <numbers>
#include <stdexcept>

#include "pipeline/base/angles.h"
#include "pipeline/base/files/csv.h"

namespace lookdown::level {
namespace {

constexpr double kLowestSunDeg = 10;
// The sun is 0.53 degrees wide and so are its mirror image, on the stillest water, and the soft rim of a
// shadow; waves and a rig that hangs beside the lens move their middles by about as much.
constexpr double kMarkSigmaDeg = 0.5;
constexpr double kElevationContradictsSigmas = 4;

double angle_between(const Eigen::Vector3d& a, const Eigen::Vector3d& b) {
  return std::atan2(a.cross(b).norm(), a.dot(b));
}

}  // namespace

double sun_elevation_deg(const Eigen::Vector3d& to_mirror_point, const Eigen::Vector3d& to_shadow) {
  return 90 - 0.5 * angle_between(to_mirror_point, to_shadow) / kDegree;
}

std::optional<Eigen::Vector3d> down_from_sun(const Eigen::Vector3d& to_mirror_point,
                                             const Eigen::Vector3d& to_shadow) {
  if (sun_elevation_deg(to_mirror_point, to_shadow) < kLowestSunDeg) return std::nullopt;
  return (to_mirror_point.normalized() + to_shadow.normalized()).normalized();
}

SunMarksByFile read_sun_marks(const std::filesystem::path& file) {
  const CsvTable table = CsvTable::read(file, {"file", "what", "x_px", "y_px"});
  SunMarksByFile marks;
  for (std::size_t row = 0; row < table.rows(); ++row) {
    const std::string& what = table.text(row, "what");
    if (what != "mirror" && what != "shadow")
      throw std::runtime_error(table.where(row) + ": what is \"" + what + "\", but must be mirror or shadow");
    SunMarks& of_file = marks[table.text(row, "file")];
    auto& mark = what == "mirror" ? of_file.mirror_point : of_file.shadow;
    if (mark)
      throw std::runtime_error(table.where(row) + ": " + table.text(row, "file") + " has two marks of its " +
                               what + "; leave one");
    mark = Point2<StoredPx>{table.number(row, "x_px"), table.number(row, "y_px")};
  }
  return marks;
}

std::optional<Tilt> tilt_from_sun(const SunMarks& marks, const Camera& camera,
                                  const std::optional<Sun>& sun) {
  if (!marks.mirror_point || !marks.shadow) return std::nullopt;
  const Eigen::Vector3d mirror = camera.ray(camera.undistort(*marks.mirror_point));
  const Eigen::Vector3d shadow = camera.ray(camera.undistort(*marks.shadow));
  const auto down = down_from_sun(mirror, shadow);
  if (!down) return std::nullopt;
  const double elevation_deg = sun_elevation_deg(mirror, shadow);
  const double sigma_deg = kMarkSigmaDeg / std::numbers::sqrt2;  // of half the sum or difference of two marks
  if (sun && std::abs(sun->elevation_deg - elevation_deg) > kElevationContradictsSigmas * sigma_deg)
    return std::nullopt;
  Tilt tilt;
  tilt.down_in_camera = {down->x(), down->y(), down->z()};
  tilt.off_nadir_deg = std::acos(std::clamp(down->z(), -1.0, 1.0)) / kDegree;
  // Across the sun's vertical plane the sum of the two is shorter than 2 and turns the more for a given miss.
  const double across_deg = sigma_deg / std::sin(elevation_deg * kDegree);
  const double from_focal_deg = std::max(0.0, camera.focal_sigma_share) * tilt.off_nadir_deg;
  tilt.sigma_deg = std::hypot(across_deg, from_focal_deg);
  tilt.from = "sun";
  return tilt;
}

void add_tilts_from_sun(FlightRecord& record, const SunMarksByFile& all_marks) {
  SunMarksByFile unused = all_marks;
  for (FrameRecord& frame : record.frames) {
    auto marks = all_marks.find(frame.source.file);
    if (marks == all_marks.end()) marks = all_marks.find(frame.source.twin_file);
    if (marks == all_marks.end()) continue;
    unused.erase(marks->first);
    if (frame.fault) continue;
    const auto tilt = tilt_from_sun(marks->second, frame.info.camera, frame.sun);
    if (!tilt) {
      record.warnings.push_back(
          frame.source.file +
          ": the marks of the sun give no tilt; both mirror and shadow must be marked, the sun at least 10 "
          "degrees high, and where time and place are known it must stand there");
      continue;
    }
    frame.tilt_sources.push_back(*tilt);
    if (!frame.tilt || tilt->sigma_deg < frame.tilt->sigma_deg) frame.tilt = *tilt;
  }
  for (const auto& [file, marks] : unused)
    record.warnings.push_back("The marks of the sun name " + file + ", which is not in this flight.");
}

}  // namespace lookdown::level
