#include "stages/level/level.h"

#include <cmath>
#include <numbers>
#include <opencv2/core.hpp>

#include "pipeline/base/angles.h"
#include "stages/level/horizon_geometry.h"
#include "stages/level/lines/far_shore.h"
#include "stages/level/search/horizon_choice.h"
#include "stages/level/search/horizon_line.h"
#include "stages/level/verticals/manhattan_vanishing_points.h"
#include "stages/level/verticals/straight_edges.h"

namespace lookdown::level {
namespace {

constexpr int kWorkingLongSide = 1700;
// Straight edges take long to find, and only where much is built do they tell the vertical: the fine search
// is spared where half the size shows fewer of them. On rendered works and yards all answers within a degree
// of the truth came from more, and the two worst from fewer.
constexpr int kCoarseEdgesLongSide = 1000;
constexpr std::size_t kBuiltUpEdges = 150;
constexpr std::size_t kMostEdges = 200;
constexpr double kSurestRollDeg = 0.05;  // lens distortion and mounting of the picture are not known better

/// Line of a picture reduced by `factor` (< 1) in pixels of the frame as stored.
Eigen::Vector3d line_in_frame(const Eigen::Vector3d& line, double factor) {
  Eigen::Vector3d enlarged(line.x() * factor, line.y() * factor,
                           line.z() + (line.x() + line.y()) * (0.5 * factor - 0.5));
  return enlarged / enlarged.head<2>().norm();
}

enum class Edge { skyline, waterline };

/// A horizon of ground rises and falls: its waviness adds to both uncertainties, and its height above the
/// true horizon is not known better than a few times that.
Horizon describe_horizon(const HorizonChoice& choice, Edge edge, const Camera& frame_camera, double factor,
                         int orientation, std::optional<double> height_m) {
  const RefinedLine& found = choice.refined;
  const Camera small = frame_camera.scaled(factor);
  Horizon horizon;
  const Eigen::Vector3d line = line_in_frame(found.line, factor);
  horizon.line = {line.x(), line.y(), line.z()};
  const Attitude attitude = attitude_from_up(up_from_line(frame_camera, line), orientation);
  const double pixel_rad = 1 / small.fx_px;
  const bool is_sea = edge == Edge::skyline && found.waviness_px * pixel_rad < 0.0006 &&
                      found.scatter_px * pixel_rad < 0.0012 && found.support.inlier_share > 0.75;
  horizon.kind = is_sea ? "sea" : "land";
  const double dip = is_sea && height_m ? dip_of_sea_horizon_rad(*height_m) : 0;
  horizon.roll_deg = attitude.roll_rad / kDegree;
  horizon.pitch_deg = (attitude.pitch_rad - dip) / kDegree;
  const double waviness_rad = is_sea ? 0 : std::max(0.003, 2 * found.waviness_px * pixel_rad);
  const double focal = frame_camera.focal_sigma_share > 0 ? frame_camera.focal_sigma_share : 0.01;
  const double from_focal = std::abs(std::sin(attitude.pitch_rad) * std::cos(attitude.pitch_rad)) * focal;
  horizon.roll_sigma_deg = std::hypot(
      kSurestRollDeg,
      std::hypot(std::hypot(found.angle_sigma_rad, 0.5 * waviness_rad), choice.roll_spread_rad) / kDegree);
  horizon.pitch_sigma_deg =
      std::hypot(
          std::hypot(std::hypot(found.offset_sigma_px, choice.across_spread_px) * pixel_rad, waviness_rad),
          from_focal) /
      kDegree;
  return horizon;
}

Tilt tilt_from(const Horizon& horizon, int orientation) {
  const Eigen::Vector3d down =
      -up_from_attitude({horizon.roll_deg * kDegree, horizon.pitch_deg * kDegree}, orientation);
  Tilt tilt;
  tilt.down_in_camera = {down.x(), down.y(), down.z()};
  tilt.off_nadir_deg = std::acos(std::clamp(down.z(), -1.0, 1.0)) / kDegree;
  tilt.sigma_deg = std::max(horizon.roll_sigma_deg, horizon.pitch_sigma_deg);
  tilt.from = "horizon";
  return tilt;
}

}  // namespace

void describe(Options& options, OptionVisitor& visitor) {
  visitor.option(
      {"camera-height-m",
       "camera above the ground or water: corrects the pitch for the dip of the horizon, and gives a rough "
       "scale where nothing else does",
       0.5, 10000},
      options.height_m);
}

Finding find(FramePixels& pixels, const FrameInfo& info, const Options& options) {
  Finding finding;
  const int reduction = pixels.reduction_for(kWorkingLongSide);
  const cv::Mat& bgr = pixels.bgr(reduction);
  const double factor = 1.0 / reduction;
  const int orientation = pixels.source().orientation;
  const auto guesses = horizon_guesses(bgr, info.camera.scaled(factor), orientation);
  if (!guesses.empty() && guesses.front().log_odds > 0)
    finding.horizon = describe_horizon(choose_horizon(guesses, bgr, info.camera.scaled(factor)),
                                       Edge::skyline, info.camera, factor, orientation, options.height_m);
  else if (const auto shore = find_far_shore(bgr, info.camera.scaled(factor), guesses))
    // The horizon lies somewhere between the water's edge and the top of the land.
    finding.horizon = describe_horizon({shore->waterline, 0, 0.5 * shore->land_above_px}, Edge::waterline,
                                       info.camera, factor, orientation, options.height_m);
  if (finding.horizon) finding.tilts.push_back(tilt_from(*finding.horizon, orientation));
  // Without a known focal length converging edges say nothing certain.
  const double focal_sigma = info.camera.focal_sigma_share;
  if (!finding.horizon && focal_sigma > 0 && focal_sigma < 0.06) {
    const auto edges_at = [&](int reduced_by) {
      return straight_edges(pixels.grey(reduced_by), info.camera.scaled(1.0 / reduced_by), kMostEdges);
    };
    if (edges_at(pixels.reduction_for(kCoarseEdgesLongSide)).size() >= kBuiltUpEdges)
      if (const auto tilt = tilt_from_manhattan_directions(edges_at(reduction)))
        finding.tilts.push_back(*tilt);
  }
  return finding;
}

}  // namespace lookdown::level
