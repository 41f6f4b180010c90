// surface_flight FOLDER OUT [--surface plane] [--threads T] [--no-mosaic]
// [--relief SPREAD]: places a flight, finds its surface
// and makes the mosaic, without the other stages; with truth.json and surface_truth.tif in FOLDER
// (paint_flight) the heights are held against the truth.
#include <fmt/core.h>

#include <Eigen/LU>
#include <algorithm>
#include <cmath>
#include <cstring>
#include <ctime>
#include <opencv2/imgcodecs.hpp>

#include "pipeline/record/mosaic_grid.h"
#include "stages/mosaic/mosaic.h"
#include "stages/surface/surface.h"
#include "tests/bench/place/bench_placement.h"
#include "tests/bench/place/placement_score.h"
#include "tests/bench/surface/picture_score.h"

namespace {

using namespace lookdown;

double processor_s() {
  return double(std::clock()) / CLOCKS_PER_SEC;
}

/// Of the nearest place: between the two sides of a step there is no height.
double nearest(const cv::Mat& m, const Eigen::Vector4d& true_place) {
  const int c = int(std::lround(true_place.x())), r = int(std::lround(true_place.y()));
  return c < 0 || r < 0 || c >= m.cols || r >= m.rows ? NAN : double(m.at<float>(r, c));
}

int frames_seeing(const FlightRecord& flight, const Eigen::Vector3d& world) {
  int seen = 0;
  for (const FrameRecord& f : flight.frames) {
    const FramePlacement& p = f.placement;
    if (!p.placed || p.group != 0) continue;
    double depth = 0;
    const auto at = project(p.pose, p.camera, world, &depth);
    seen +=
        depth > 0 && at.x > 8 && at.y > 8 && at.x < p.camera.width_px - 8 && at.y < p.camera.height_px - 8;
  }
  return seen;
}

/// Truth at every unit, row 0 at y = 0.
void score_heights(const FlightRecord& flight, const std::filesystem::path& folder,
                   const std::filesystem::path& out) {
  const cv::Mat truth = cv::imread((folder / "surface_truth.tif").string(), cv::IMREAD_UNCHANGED);
  const surface::HeightGrid grid = surface::read(flight, out);
  if (truth.empty() || grid.empty()) return;
  const auto space = bench::score_space(folder / "truth.json", out / "placement.json");
  const Eigen::Matrix3d ground_from_mosaic = mosaic_from_ground(flight).matrix.inverse();
  std::vector<double> off, filled;
  // Grey where known, reddish where filled, blue: nothing to compare with.
  cv::Mat error(grid.rows, grid.columns, CV_8UC3, cv::Scalar(80, 0, 0));
  for (int row = 0; row < grid.rows; ++row)
    for (int column = 0; column < grid.columns; ++column) {
      const std::size_t node = std::size_t(row) * std::size_t(grid.columns) + std::size_t(column);
      const Eigen::Vector3d g = ground_from_mosaic * Eigen::Vector3d((column + 0.5) * grid.step_px - 0.5,
                                                                     (row + 0.5) * grid.step_px - 0.5, 1);
      const Eigen::Vector4d t = space.truth_from_placed *
                                Eigen::Vector4d(g.x() / g.z(), g.y() / g.z(), double(grid.heights[node]), 1);
      const double given = nearest(truth, t);
      const double true_height = double(grid.heights[node]) + (given - t.z()) / space.truth_from_placed(2, 2);
      if (!std::isfinite(given) || frames_seeing(flight, {g.x() / g.z(), g.y() / g.z(), true_height}) < 2)
        continue;
      const uchar level = cv::saturate_cast<uchar>(128 + 4 * (t.z() - given) / space.gsd_m);
      error.at<cv::Vec3b>(row, column) = grid.confidence[node] > 0
                                             ? cv::Vec3b(level, level, level)
                                             : cv::Vec3b(uchar(level / 2), uchar(level / 2), 255);
      (grid.confidence[node] > 0 ? off : filled).push_back(std::abs(t.z() - given) / space.gsd_m);
    }
  cv::imwrite((out / "error.png").string(), error);
  for (auto* list : {&off, &filled}) {
    if (list->empty()) continue;
    std::sort(list->begin(), list->end());
    fmt::print(
        "heights {}: {} nodes, off by {:.2f} pixels of ground median, {:.2f} at 68 %, {:.2f} at 95 %\n",
        list == &off ? "where frames agree" : "filled", list->size(), (*list)[list->size() / 2],
        (*list)[list->size() * 68 / 100], (*list)[list->size() * 95 / 100]);
  }
}

std::size_t node_at(const surface::HeightGrid& grid, int column, int row) {
  return std::size_t(std::min(int(row / grid.step_px), grid.rows - 1)) * std::size_t(grid.columns) +
         std::size_t(std::min(int(column / grid.step_px), grid.columns - 1));
}

/// How far what the picture shows is displaced by heights that are off: dz times the tangent of the angle at
/// which the frame that is shown there looks down, in pixels of ground. Placement's own error comes on top.
void score_picture(const FlightRecord& flight, const std::filesystem::path& folder,
                   const std::filesystem::path& out) {
  const cv::Mat truth = cv::imread((folder / "surface_truth.tif").string(), cv::IMREAD_UNCHANGED);
  const cv::Mat sources = cv::imread((out / "mosaic_sources.tif").string(), cv::IMREAD_UNCHANGED);
  const surface::HeightGrid grid = surface::read(flight, out);
  if (truth.empty() || sources.empty()) return;
  const auto space = bench::score_space(folder / "truth.json", out / "placement.json");
  const Eigen::Matrix3d ground_from_mosaic = mosaic_from_ground(flight).matrix.inverse();
  std::vector<const FramePlacement*> placed;
  for (const FrameRecord& f : flight.frames)
    if (f.placement.placed) placed.push_back(&f.placement);
  std::vector<double> off;
  std::vector<bench::ShownPlace> places;
  // A step is what rises by more than three units over two: no slope that ground and roofs have.
  const cv::Mat from_steps = bench::distance_from_steps(truth, 3);
  double squares = 0;
  for (int row = 0; row < sources.rows; row += 3)
    for (int column = 0; column < sources.cols; column += 3) {
      const int source = sources.at<ushort>(row, column);
      if (source >= int(placed.size())) continue;
      const Eigen::Vector3d g = ground_from_mosaic * Eigen::Vector3d(column, row, 1);
      const double height = grid.empty() ? 0 : grid.at(column, row);
      const Eigen::Vector3d world(g.x() / g.z(), g.y() / g.z(), height);
      const Eigen::Vector4d t = space.truth_from_placed * Eigen::Vector4d(world.x(), world.y(), world.z(), 1);
      const double given = nearest(truth, t);
      const Eigen::Vector3d lifted(0, 0, (given - t.z()) / space.truth_from_placed(2, 2));
      const int seeing = std::isfinite(given) ? frames_seeing(flight, world + lifted) : 0;
      if (seeing < 2) continue;
      const Eigen::Vector3d ray = placed[std::size_t(source)]->pose.centre - world;
      off.push_back(std::abs(t.z() - given) / space.gsd_m * ray.head<2>().norm() / ray.z());
      squares += off.back() * off.back();
      const double from_step = nearest(from_steps, t) / space.gsd_m;
      places.push_back({off.back(), std::isfinite(from_step) ? from_step : 1e6,
                        grid.empty() ? 0 : grid.confidence[node_at(grid, column, row)], seeing});
    }
  if (off.empty()) return;
  std::sort(off.begin(), off.end());
  fmt::print(
      "picture: {} places seen by two frames, displaced by heights {:.2f} pixels of ground RMSE, median "
      "{:.2f}, "
      "68 % {:.2f}, 95 % {:.2f}, 98 % {:.2f}\n",
      off.size(), std::sqrt(squares / double(off.size())), off[off.size() / 2], off[off.size() * 68 / 100],
      off[off.size() * 95 / 100], off[off.size() * 98 / 100]);
  bench::print_where_displaced(places);
}

}  // namespace

int main(int argc, char** argv) {
  if (argc < 3) return 2;
  const std::filesystem::path folder = argv[1], out = argv[2];
  surface::Options options;
  mosaic::Options look;
  int threads = 0;
  bool with_mosaic = true;
  double relief = 0;  // assumed where the placement found none
  for (int i = 3; i < argc; ++i) {
    if (!std::strcmp(argv[i], "--surface")) options.kind = argv[++i];
    if (!std::strcmp(argv[i], "--threads")) threads = std::atoi(argv[++i]);
    if (!std::strcmp(argv[i], "--relief")) relief = std::atof(argv[++i]);
    if (!std::strcmp(argv[i], "--no-mosaic")) with_mosaic = false;
  }
  std::filesystem::create_directories(out);
  double before = processor_s();
  FlightRecord flight =
      bench::place_frames(bench::frames_of(folder), folder / "truth.json", out, {}, threads);
  fmt::print("place {:.1f} s  relief {:.3f}  height sigma {:.3f}\n", processor_s() - before,
             flight.placement.relief_spread, flight.placement.height_sigma);
  if (relief > 0) flight.placement.relief_spread = relief;
  const FrameReader reader;
  const Scheduler scheduler(Resources{threads, 1'500'000'000});
  const Cache cache("");
  Progress progress(false);
  RunContext context{out, reader, scheduler, cache, progress};
  before = processor_s();
  surface::build(flight, options, context);
  fmt::print("surface {:.1f} s\n", processor_s() - before);
  if (flight.surface)
    fmt::print("step {:.2f} px  known {:.3f}  height sigma of a match {:.3f}\n", flight.surface->step_px,
               flight.surface->known_share, flight.surface->height_sigma);
  score_heights(flight, folder, out);
  bench::score_eaves(flight, folder, out);
  if (with_mosaic) {
    before = processor_s();
    mosaic::build(flight, look, context);
    fmt::print("mosaic {:.1f} s  covered {:.3f}  used {}  filled {:.4f}\n", processor_s() - before,
               flight.mosaic->covered_share, flight.mosaic->frames_used,
               flight.mosaic->filled_share.value_or(0));
    score_picture(flight, folder, out);
    bench::score_coverage(flight, out);
  }
  for (const auto& list : {flight.notes, flight.warnings})
    for (const std::string& line : list) fmt::print("{}\n", line);
}
