#include "tests/bench/surface/picture_score.h"

#include <fmt/core.h>

#include <Eigen/Geometry>
#include <Eigen/LU>
#include <algorithm>
#include <cmath>
#include <fstream>
#include <functional>
#include <nlohmann/json.hpp>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>
#include <optional>

#include "pipeline/record/mosaic_grid.h"
#include "stages/surface/surface.h"
#include "tests/bench/place/placement_score.h"

namespace lookdown::bench {
namespace {

double at(const cv::Mat& truth, const Eigen::Vector2d& p) {
  const int column = int(std::lround(p.x())), row = int(std::lround(p.y()));
  if (column < 0 || row < 0 || column >= truth.cols || row >= truth.rows) return NAN;
  return double(truth.at<float>(row, column));
}

/// Heights of the surface along the truth's axes.
class TrueSpace {
 public:
  TrueSpace(const FlightRecord& flight, const std::filesystem::path& folder, const std::filesystem::path& out)
      : grid_(surface::read(flight, out)),
        score_(score_space(folder / "truth.json", out / "placement.json")),
        placed_from_truth_(score_.truth_from_placed.inverse()),
        mosaic_from_ground_(mosaic_from_ground(flight).matrix) {}
  [[nodiscard]] double unit() const { return score_.gsd_m; }
  [[nodiscard]] Eigen::Vector2d mosaic_px(const Eigen::Vector3d& true_place) const {
    const Eigen::Vector4d placed = placed_from_truth_ * true_place.homogeneous();
    const Eigen::Vector3d m = mosaic_from_ground_ * Eigen::Vector3d(placed.x(), placed.y(), 1);
    return m.hnormalized();
  }
  /// Of the surface below or above a true place near it.
  [[nodiscard]] double height(const Eigen::Vector3d& true_place) const {
    const Eigen::Vector4d placed = placed_from_truth_ * true_place.homogeneous();
    const Eigen::Vector2d m = mosaic_px(true_place);
    return true_place.z() + score_.truth_from_placed(2, 2) * (grid_.at(m.x(), m.y()) - placed.z());
  }
  /// Frames agree within a few nodes.
  [[nodiscard]] bool is_known(const Eigen::Vector3d& true_place) const {
    const Eigen::Vector2d m = mosaic_px(true_place) / grid_.step_px;
    const int column = int(m.x()), row = int(m.y());
    if (column < 0 || row < 0 || column >= grid_.columns || row >= grid_.rows) return false;
    return grid_.confidence[std::size_t(row) * std::size_t(grid_.columns) + std::size_t(column)] > 0;
  }
  [[nodiscard]] bool empty() const { return grid_.empty(); }

 private:
  surface::HeightGrid grid_;
  SpaceScore score_;
  Eigen::Matrix4d placed_from_truth_;
  Eigen::Matrix3d mosaic_from_ground_;
};

/// Where, outwards from the eaves, the surface falls through the middle between roof and ground; empty where
/// there is no such place or no ground clearly below.
std::optional<double> fall(const TrueSpace& space, const cv::Mat& truth, const Eigen::Vector2d& eaves,
                           const Eigen::Vector2d& outwards) {
  constexpr double kReach = 24, kLeastStep = 12;
  const double roof = at(truth, eaves - 8 * outwards), ground = at(truth, eaves + 8 * outwards);
  if (!(roof > ground + kLeastStep)) return std::nullopt;
  for (const double side : {-kReach, kReach}) {
    const Eigen::Vector2d p = eaves + side * outwards;
    if (!space.is_known({p.x(), p.y(), side < 0 ? roof : ground})) return std::nullopt;
  }
  const double middle = 0.5 * (roof + ground);
  std::optional<double> nearest;
  double before = NAN;
  for (double d = -kReach; d <= kReach; d += 0.25) {
    const Eigen::Vector2d p = eaves + d * outwards;
    const double here = space.height({p.x(), p.y(), middle});
    if (before > middle && here <= middle && (!nearest || std::abs(d) < std::abs(*nearest))) nearest = d;
    before = here;
  }
  return nearest ? nearest : kReach;
}

}  // namespace

void score_eaves(const FlightRecord& flight, const std::filesystem::path& folder,
                 const std::filesystem::path& out) {
  std::ifstream file(folder / "truth.json");
  const auto words = nlohmann::json::parse(file);
  const cv::Mat truth = cv::imread((folder / "surface_truth.tif").string(), cv::IMREAD_UNCHANGED);
  const TrueSpace space(flight, folder, out);
  if (truth.empty() || space.empty() || !words.contains("eaves")) return;
  double whole = 0, about = 0, outwards_by = 0;
  int count = 0;
  std::vector<double> off;
  for (const auto& shed : words["eaves"])
    for (int side = 0; side < 4; ++side) {
      const auto corner = [&](int k) {
        return Eigen::Vector2d(shed["outline"][k % 4][0].get<double>(),
                               shed["outline"][k % 4][1].get<double>());
      };
      const Eigen::Vector2d along = corner(side + 1) - corner(side);
      const Eigen::Vector2d outwards = Eigen::Vector2d(along.y(), -along.x()).normalized();
      std::vector<double> falls;
      for (double share = 0.1; share <= 0.9; share += 2 / along.norm())
        if (const auto d = fall(space, truth, corner(side) + share * along, outwards)) falls.push_back(*d);
      if (falls.size() < 20) continue;
      double mean = 0;
      for (const double d : falls) mean += d / double(falls.size());
      for (const double d : falls) {
        whole += d * d, about += (d - mean) * (d - mean), outwards_by += d, ++count;
        off.push_back(std::abs(d - mean) / space.unit());
      }
    }
  if (count == 0) return;
  std::sort(off.begin(), off.end());
  fmt::print(
      "eaves: {} places, off by {:.2f} pixels of ground RMSE, outwards by {:.2f}, about each side's mean "
      "{:.2f} "
      "({:.2f} at 68 %, {:.2f} at 95 %)\n",
      count, std::sqrt(whole / count) / space.unit(), outwards_by / count / space.unit(),
      std::sqrt(about / count) / space.unit(), off[off.size() * 68 / 100], off[off.size() * 95 / 100]);
}

cv::Mat distance_from_steps(const cv::Mat& truth, double step) {
  cv::Mat known = truth.clone(), low, high, distance;
  // Under crowns the truth tells nothing: neither side of a step.
  cv::patchNaNs(known, 1e30);
  cv::erode(known, low, cv::Mat());
  cv::patchNaNs(known = truth.clone(), -1e30);
  cv::dilate(known, high, cv::Mat());
  const cv::Mat away = (high - low <= step) | (low > 1e29);
  cv::distanceTransform(away, distance, cv::DIST_L2, cv::DIST_MASK_5);
  return distance;
}

void print_where_displaced(const std::vector<ShownPlace>& places) {
  double all = 0;
  for (const ShownPlace& place : places) all += place.displaced_px * place.displaced_px;
  const auto line = [&](const char* what, double least, double most,
                        const std::function<double(const ShownPlace&)>& of) {
    double squares = 0;
    int count = 0;
    for (const ShownPlace& place : places)
      if (of(place) >= least && of(place) < most) squares += place.displaced_px * place.displaced_px, ++count;
    if (count > 0)
      fmt::print("  {} {:.0f} to {:.0f}: {:.2f} % of places, {:.2f} px RMSE, {:.1f} % of the squares\n", what,
                 least, most, 100.0 * count / double(places.size()), std::sqrt(squares / count),
                 100 * squares / all);
  };
  const double away[] = {0, 2, 4, 8, 16, 32, 64, 1e9}, some[] = {0, 1, 2, 3, 4, 6, 99},
               many[] = {0, 2, 3, 4, 6, 9, 999};
  for (int i = 0; i + 1 < 8; ++i)
    line("px from a step", away[i], away[i + 1], [](const ShownPlace& p) { return p.from_step_px; });
  for (int i = 0; i + 1 < 7; ++i)
    line("frames agreeing", some[i], some[i + 1], [](const ShownPlace& p) { return double(p.agreeing); });
  for (int i = 0; i + 1 < 7; ++i)
    line("frames seeing", many[i], many[i + 1], [](const ShownPlace& p) { return double(p.seeing); });
}

void score_coverage(const FlightRecord& flight, const std::filesystem::path& out) {
  const cv::Mat sources = cv::imread((out / "mosaic_sources.tif").string(), cv::IMREAD_UNCHANGED);
  if (sources.empty()) return;
  const surface::HeightGrid grid = surface::read(flight, out);
  const Eigen::Matrix3d ground_from_mosaic = mosaic_from_ground(flight).matrix.inverse();
  std::int64_t seen = 0, shown = 0, beyond = 0;
  const int rim_x = sources.cols / 4, rim_y = sources.rows / 4;
  for (int row = -rim_y; row < sources.rows + rim_y; row += 3)
    for (int column = -rim_x; column < sources.cols + rim_x; column += 3) {
      const Eigen::Vector2d g = (ground_from_mosaic * Eigen::Vector3d(column, row, 1)).hnormalized();
      const double height = grid.empty() ? 0 : grid.at(column, row);
      const bool is_seen =
          std::any_of(flight.frames.begin(), flight.frames.end(), [&](const FrameRecord& frame) {
            const FramePlacement& placed = frame.placement;
            if (!placed.placed || placed.group != 0) return false;
            if (frame.decision.verdict == Verdict::drop && !dropped_for_blur_alone(frame.decision))
              return false;
            double depth = 0;
            const auto ideal = project(placed.pose, placed.camera, {g.x(), g.y(), height}, &depth);
            const double width = placed.camera.width_px - 1, tall = placed.camera.height_px - 1;
            if (!(depth > 0) || std::abs(ideal.x - width / 2) > width || std::abs(ideal.y - tall / 2) > tall)
              return false;
            const auto stored = placed.camera.has_distortion() ? placed.camera.distort(ideal)
                                                               : Point2<StoredPx>{ideal.x, ideal.y};
            return stored.x >= 0 && stored.y >= 0 && stored.x <= width && stored.y <= tall;
          });
      if (!is_seen) continue;
      ++seen;
      const bool is_inside = row >= 0 && column >= 0 && row < sources.rows && column < sources.cols;
      beyond += !is_inside;
      shown += is_inside && sources.at<ushort>(row, column) != 65535;
    }
  if (seen > 0)
    fmt::print(
        "coverage: {:.2f} % of the ground that is seen is shown; {:.2f} % lies beyond the picture's rim\n",
        100.0 * double(shown) / double(seen), 100.0 * double(beyond) / double(seen));
}

}  // namespace lookdown::bench
