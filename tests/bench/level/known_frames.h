// What is known beforehand of the frames of a folder.
#pragma once

#include <Eigen/Core>
#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "pipeline/geometry/camera.h"

namespace lookdown::level {

struct KnownFrame {
  std::filesystem::path path;
  std::string kind;  // "horizon", "nadir", "oblique", ...
  int orientation = 1;
  bool has_horizon = false;
  double roll_deg = 0;
  std::optional<Eigen::Vector3d> line;  // undistorted pixels
  std::optional<double> pitch_deg;
  std::optional<double> off_nadir_deg;
  std::optional<Camera> camera;
};

/// By truth.json (rendered flights), by labels.csv (file,slope,offset: the horizon is y = slope x + offset
/// height in pixels), or just pictures without a horizon. Throws where a table cannot be read.
[[nodiscard]] std::vector<KnownFrame> known_frames(const std::filesystem::path& folder);

/// Distance of the known line from `found` (of the picture reduced by `reduction`) at the middle of the found
/// line, in shares of the long side; -1 when not known.
[[nodiscard]] double distance_from_known(const KnownFrame&, const Eigen::Vector3d& found, int reduction);

}  // namespace lookdown::level
