// The vertical from the sun: where level water mirrors it and where the camera's own shadow falls.
#pragma once

#include <Eigen/Core>
#include <filesystem>
#include <map>
#include <optional>
#include <string>

#include "pipeline/record/flight_record.h"

namespace lookdown::level {

/// Straight down, camera axes, from the viewing directions of the sun's mirror point on level water and of
/// the camera's own shadow (unit vectors, camera axes). With the sun at s (z up) the mirror point is seen
/// along (s_x, s_y, -s_z) and the shadow along -s: of one length and with opposite horizontal parts, so that
/// their sum is vertical. Empty when the sun stands lower than 10 degrees (the two then point nearly opposite
/// ways and their sum says little).
[[nodiscard]] std::optional<Eigen::Vector3d> down_from_sun(const Eigen::Vector3d& to_mirror_point,
                                                           const Eigen::Vector3d& to_shadow);

/// Elevation of the sun that the two directions stand for: half the angle between them is its zenith angle;
/// degrees.
[[nodiscard]] double sun_elevation_deg(const Eigen::Vector3d& to_mirror_point,
                                       const Eigen::Vector3d& to_shadow);

/// What a person marked in one frame, pixels of the frame as stored.
struct SunMarks {
  std::optional<Point2<StoredPx>> mirror_point;  ///< middle of the sun's image on water, or of its glitter
  std::optional<Point2<StoredPx>> shadow;        ///< of the camera or its rig
};
using SunMarksByFile = std::map<std::string, SunMarks>;

/// Reads a table with the columns file, what ("mirror" or "shadow"), x_px, y_px. Throws std::runtime_error
/// naming file and line for another word, a number that is none, or a second mark of one kind in one frame.
[[nodiscard]] SunMarksByFile read_sun_marks(const std::filesystem::path& table);

/// The tilt of a frame in which both are marked; Tilt::from is "sun". Empty when one is missing, when
/// down_from_sun is, or when the sun is known (time and place) and stands elsewhere than the marks say.
[[nodiscard]] std::optional<Tilt> tilt_from_sun(const SunMarks&, const Camera&, const std::optional<Sun>&);

/// Adds the sun's tilt to the sources of every frame with both marks and chooses the surest anew. Marks that
/// cannot be used, and files that are not in the flight, become warnings.
void add_tilts_from_sun(FlightRecord&, const SunMarksByFile&);

}  // namespace lookdown::level
