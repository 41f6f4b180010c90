// Scores a placement.json against the truth.json of a rendered flight.
//
// RMSE: each true ground point that a frame saw (true pose and lens) gives a raw pixel; that pixel is
// undistorted with the PLACED camera and mapped by the PLACED frame_to_mosaic. One best similarity from true
// ground to mosaic over all of a group's points is taken out; the residual divided by the local scale of
// frame_to_mosaic is an error in frame pixels.
#pragma once

#include <Eigen/Core>
#include <complex>
#include <filesystem>
#include <nlohmann/json_fwd.hpp>
#include <string>
#include <vector>

namespace lookdown::bench {

/// Throws std::runtime_error where the file cannot be read or is no JSON.
[[nodiscard]] nlohmann::json read_json(const std::filesystem::path&);

struct FrameScore {
  std::string file;
  bool placed = false;
  int group = -1;
  std::string why_not;
  std::string kind;
  bool sharp = false;
  int points = 0;
  double rmse_px = 0;              ///< frame pixels
  double off_nadir_error_deg = 0;  ///< angle between true and placed "down" in camera axes
};

struct PlacementScore {
  std::vector<FrameScore> frames;  ///< every frame of the truth
  int sharp_nadir = 0;             ///< frames that should be placed
  int sharp_nadir_in_first_group = 0;
  int placed = 0;
  int groups = 0;
  double rmse_px = 0;  ///< first group, all points
  double worst_frame_rmse_px = 0;
  double median_off_nadir_error_deg = 0;
  double focal_error_share = 0;                                 ///< median over frames, placed / true - 1
  std::complex<double> mosaic_from_ground{1, 0}, mosaic_shift;  ///< the best similarity, rows negated (y up)
  double gsd_error_share = 0;  ///< scale against truth where the placement claims metres, else 0
};

/// Ground points intersected in space from the placement's rotations, centres and cameras, against the truth
/// after the best similarity in space (Umeyama, IEEE PAMI 13:376, 1991).
struct SpaceScore {
  int points = 0;     ///< seen by two placed frames or more
  double rmse_m = 0;  ///< in space, units of the truth
  double horizontal_m = 0, vertical_m = 0, median_m = 0, p95_m = 0;
  double gsd_m = 0;  ///< ground size of a pixel of the frames, median
  Eigen::Matrix4d truth_from_placed = Eigen::Matrix4d::Identity();
};
SpaceScore score_space(const std::filesystem::path& truth_json, const std::filesystem::path& placement_json);

/// Throws std::runtime_error when a file cannot be read.
PlacementScore score_placement(const std::filesystem::path& truth_json,
                               const std::filesystem::path& placement_json);

}  // namespace lookdown::bench
