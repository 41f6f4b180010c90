// What is known beforehand of the frames of a folder.
#pragma once

#include <Eigen/Core>
#include <filesystem>
#include <opencv2/core.hpp>
#include <optional>
#include <string>
#include <vector>

#include "pipeline/geometry/camera.h"
#include "pipeline/imaging/frame_reader.h"
#include "tests/bench/packages/package_files.h"

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
  double roll_error_deg = 0.3;  ///< standard error of what is known of the roll
  std::string source;           ///< the folder or package it is from
};

/// A frame as `level::find` looks at it, with its camera at that size; what is known of it is in its pixels.
struct SeenFrame {
  cv::Mat3b bgr;
  Camera camera;
  KnownFrame known;
};

/// By truth.json (rendered flights), by labels.csv (file,slope,offset: the horizon is y = slope x + offset
/// height in pixels), or just pictures without a horizon. Throws where a table cannot be read.
[[nodiscard]] std::vector<KnownFrame> known_frames(const std::filesystem::path& folder);

/// Photographs of one part ("learn" or "score") of a list (pictures/horizons.txt). Throws std::runtime_error
/// where the list or a picture is missing.
[[nodiscard]] std::vector<KnownFrame> known_photographs(const std::filesystem::path& list,
                                                        const std::string& part,
                                                        const bench::PackageFolders&);

/// The frame with its size as stored, pixels. Empty when its header cannot be read.
[[nodiscard]] std::optional<FrameSource> source_of(const KnownFrame&, const FrameReader&);

/// Empty when the file cannot be read.
[[nodiscard]] std::optional<SeenFrame> seen_frame(const KnownFrame&);

/// A photograph as it is, then turned about its middle, cut to what is covered and made as small as small
/// wide cameras' frames: three times where it has a horizon (where that stays well inside), once else.
[[nodiscard]] std::vector<SeenFrame> with_turned(const SeenFrame&);

/// Distance of the known line from `found` (of the picture reduced by `reduction`) at the middle of the found
/// line, in shares of the long side; -1 when not known.
[[nodiscard]] double distance_from_known(const KnownFrame&, const Eigen::Vector3d& found, int reduction);

}  // namespace lookdown::level
