#include "stages/surface/surface.h"

#include <fmt/core.h>

#include <algorithm>
#include <cmath>
#include <opencv2/calib3d.hpp>
#include <opencv2/core.hpp>
#include <opencv2/imgproc.hpp>
#include <optional>

#include "stages/surface/flight_measures.h"
#include "stages/surface/gap_filling.h"
#include "stages/surface/matching/height_sweep.h"
#include "stages/surface/matching/sweep_views.h"
#include "stages/surface/steps/edge_snapping.h"
#include "stages/surface/surface_file.h"
#include "stages/surface/water_nodes.h"

namespace lookdown::surface {
namespace {

constexpr int kCoarser = 2, kLevels = 3;  ///< nodes of a level for one of the next coarser; levels
constexpr double kParallaxSigmaPx = 0.3;  ///< of a match, pixels of the sweep's pictures
constexpr double kUsualBase = 0.3;        ///< of base over height
constexpr double kRoughSigmas = 3;  ///< within which the finer level looks round what the coarser found;
                                    ///< with 1.5 no other height was left that could be worse
/// Heights that are looked for, shares of the flying height. Above by the spread of tie points, which roofs
/// and trees stand out of; below the lowest of them lies little ground, and a pit that two frames agree on
/// wrongly is hardly told later.
constexpr double kAboveAlways = 0.2, kSpreadsAbove = 5, kMostAbove = 0.45, kBelowTies = 0.05,
                 kMostBelow = 0.3;
constexpr double kPicturesShare = 0.4;  ///< of the memory
constexpr int kGrowNodes = 40;
/// Share of the flying height: smaller steps are filled as slopes, pits of less depth are left.
constexpr double kWallShare = 0.025;
constexpr double kSpeckPx =
    24;  ///< frame pixels: side of what is a mistake when it stands alone with its height
constexpr double kIslandPx = 120;  ///< frame pixels: side of the neighbourhood that must be known as well
constexpr double kBlockPx = 384;   ///< frame pixels: side of a block that has a ground of its own

SearchRange whole_range(const FlightMeasures& flight, const FlightPlacement& placement,
                        const NodeGrid& grid) {
  const cv::Size size(grid.columns, grid.rows);
  const double lowest = std::max(-kMostBelow * flight.height,
                                 std::min(0.0, placement.lowest_tie_point) - kBelowTies * flight.height),
               highest = std::min(kMostAbove * flight.height,
                                  kAboveAlways * flight.height + kSpreadsAbove * placement.relief_spread);
  return {cv::Mat(size, CV_32FC1, cv::Scalar(0)), cv::Mat(size, CV_32FC1, cv::Scalar(lowest)),
          cv::Mat(size, CV_32FC1, cv::Scalar(highest))};
}

/// Standard deviation with which a match tells a height: H / B sigma_parallax (Kraus, Photogrammetry:
/// Geometry from Images and Laser Scans, 2nd ed., on the normal case of stereo).
double height_sigma(double pitch) {
  return kParallaxSigmaPx * pitch / kUsualBase;
}

/// Takes away what stands alone: small patches whose height differs from that of all round them.
void drop_specks(FoundHeights& found, double apart, int most_nodes) {
  cv::Mat steps;
  found.heights.convertTo(steps, CV_16S, 4 / apart);
  constexpr int kNothing = -32768;
  steps.setTo(kNothing, found.agreeing == 0);
  cv::filterSpeckles(steps, kNothing, most_nodes, 4);
  found.agreeing.setTo(0, steps == kNothing);
}

/// Takes away what is known in the midst of what is not: at the rim, where views hardly overlap, some heights
/// fit by chance.
void drop_islands(FoundHeights& found, int side_nodes) {
  constexpr double kLeastShare = 0.4;  // of the nodes around that are known too
  const cv::Mat known = found.agreeing > 0;
  cv::Mat share;
  cv::blur(known, share, {side_nodes, side_nodes}, {-1, -1}, cv::BORDER_REFLECT);
  const cv::Mat island = known & (share < 255 * kLeastShare);
  found.agreeing.setTo(0, island);
  found.told.setTo(0, island);
}

/// Near an edge few neighbourhoods agree, for each shows two heights, and where detail repeats itself none is
/// sure; what goes on there from a height that is known beside it, without a step, is taken for known too.
void grow_known(FoundHeights& found, double apart) {
  const cv::Rect whole({}, found.heights.size());
  std::vector<cv::Point> front, next;
  for (int row = 0; row < whole.height; ++row)
    for (int column = 0; column < whole.width; ++column)
      if (found.agreeing.at<uchar>(row, column)) front.emplace_back(column, row);
  for (int step = 0; step < kGrowNodes && !front.empty(); ++step) {
    next.clear();
    for (const cv::Point& from : front)
      for (const cv::Point& way : {cv::Point(1, 0), cv::Point(-1, 0), cv::Point(0, 1), cv::Point(0, -1)}) {
        const cv::Point to = from + way;
        if (!whole.contains(to) || found.agreeing.at<uchar>(to) || !found.told.at<uchar>(to)) continue;
        if (std::abs(found.heights.at<float>(to) - found.heights.at<float>(from)) > apart) continue;
        found.agreeing.at<uchar>(to) = 1;
        next.push_back(to);
      }
    std::swap(front, next);
  }
}

/// What lies clearly deeper than nearly all ground for some way round is a mistake: mirror images lie there.
void drop_pits(FoundHeights& found, double depth, int block_nodes) {
  constexpr double kShare = 0.1;  // of a block's heights that are lower than what counts as its ground
  constexpr float kNone = 1e30F;
  const cv::Rect whole({}, found.heights.size());
  cv::Mat lowest((whole.height + block_nodes - 1) / block_nodes,
                 (whole.width + block_nodes - 1) / block_nodes, CV_32FC1);
  for (int y = 0; y < lowest.rows; ++y)
    for (int x = 0; x < lowest.cols; ++x) {
      const cv::Rect block = cv::Rect(x * block_nodes, y * block_nodes, block_nodes, block_nodes) & whole;
      std::vector<float> heights;
      for (int row = block.y; row < block.br().y; ++row)
        for (int column = block.x; column < block.br().x; ++column)
          if (found.agreeing.at<uchar>(row, column)) heights.push_back(found.heights.at<float>(row, column));
      lowest.at<float>(y, x) = kNone;
      if (int(heights.size()) < block_nodes) continue;
      const auto ground = heights.begin() + std::ptrdiff_t(kShare * double(heights.size()));
      std::nth_element(heights.begin(), ground, heights.end());
      lowest.at<float>(y, x) = *ground;
    }
  cv::erode(lowest, lowest, cv::Mat());
  for (int row = 0; row < whole.height; ++row)
    for (int column = 0; column < whole.width; ++column) {
      const float ground = lowest.at<float>(row / block_nodes, column / block_nodes);
      if (ground < kNone && found.heights.at<float>(row, column) < ground - float(depth))
        found.agreeing.at<uchar>(row, column) = 0, found.told.at<uchar>(row, column) = 0;
    }
}

/// On water heights count only where many frames agree, as on rocks; the rest gets its level from the banks.
void forget_on_water(FoundHeights& found, const cv::Mat& water) {
  constexpr int kManyFrames = 4;
  found.agreeing.setTo(0, water & (found.agreeing < kManyFrames));
}

/// Known heights as they are, the others from around; single mistakes smoothed away.
cv::Mat whole_surface(const FoundHeights& found, double wall) {
  cv::Mat heights = found.heights.clone();
  fill_gaps(heights, found.agreeing > 0, wall);
  cv::medianBlur(heights, heights, 5);
  return heights;
}

/// `m` of the coarser level at the nodes of the finer. Node centres of both lie at half steps, as resize has
/// it; the coarser grid may reach a little farther.
cv::Mat at_finer_nodes(const cv::Mat& m, cv::Size finer, int how) {
  cv::Mat wide;
  cv::resize(m, wide, {}, kCoarser, kCoarser, how);
  return cv::Mat(wide(cv::Rect({}, finer))).clone();
}

/// Round what the coarser level has found: all heights of the neighbourhood, and a little more. Where it
/// knows nothing any height that is known within some way is in question: a roof goes on, or ends.
SearchRange range_round(const cv::Mat& coarse, const cv::Mat& known, cv::Size finer, double margin) {
  constexpr int kNeighbourhood = 7, kWay = 41;  // nodes of the coarser level
  cv::Mat base, lowest, highest;
  cv::GaussianBlur(coarse, base, {}, 6, 6, cv::BORDER_REPLICATE);
  const auto around = [](int side) { return cv::Mat(side, side, CV_8UC1, cv::Scalar(1)); };
  cv::erode(coarse - base, lowest, around(kNeighbourhood));
  cv::dilate(coarse - base, highest, around(kNeighbourhood));
  cv::Mat low, high;
  cv::erode(coarse, low, around(kWay));
  cv::dilate(coarse, high, around(kWay));
  cv::Mat(low - base).copyTo(lowest, known == 0);
  cv::Mat(high - base).copyTo(highest, known == 0);
  return {at_finer_nodes(base, finer, cv::INTER_LINEAR),
          at_finer_nodes(lowest - margin, finer, cv::INTER_NEAREST),
          at_finer_nodes(highest + margin, finer, cv::INTER_NEAREST)};
}

/// Where grain hides what detail there is, coarser pictures, in which it averages out, still tell heights:
/// those stand where the finer level knows none, but not near steps, which they blur.
void take_over(const FoundHeights& coarser, double wall, FoundHeights& found) {
  const cv::Mat around(7, 7, CV_8UC1, cv::Scalar(1));  // coarser nodes by which a step may lie wrong
  cv::Mat low, high;
  cv::erode(coarser.heights, low, around);
  cv::dilate(coarser.heights, high, around);
  const cv::Mat stands = (coarser.agreeing > 0) & (high - low <= 0.5 * wall);
  const cv::Size size = found.heights.size();
  const cv::Mat taken = at_finer_nodes(stands, size, cv::INTER_NEAREST) & (found.agreeing == 0);
  at_finer_nodes(coarser.heights, size, cv::INTER_LINEAR).copyTo(found.heights, taken);
  at_finer_nodes(coarser.agreeing, size, cv::INTER_NEAREST).copyTo(found.agreeing, taken);
}

FoundHeights find_level(const NodeGrid& grid, const SearchRange& range, double wall, double frame_px,
                        FlightRecord& record, RunContext& context) {
  const std::vector<SweepView> views = sweep_views(record, grid.pitch);
  SweepPictures pictures(context.reader, record, views,
                         std::int64_t(kPicturesShare * double(context.scheduler.memory_bytes())));
  FoundHeights found = sweep_heights(grid, range, views, pictures, context, record);
  drop_specks(found, 4 * height_sigma(grid.pitch),
              std::max(9, int(std::pow(kSpeckPx * frame_px / grid.pitch, 2))));
  drop_islands(found, int(kIslandPx * frame_px / grid.pitch) | 1);
  drop_pits(found, wall, int(kBlockPx * frame_px / grid.pitch));
  grow_known(found, 1.5 * height_sigma(grid.pitch));
  return found;
}

void snap(const NodeGrid& grid, const cv::Mat& water, double wall, const FlightRecord& record,
          RunContext& context, cv::Mat& heights) {
  const std::vector<SweepView> views = sweep_views(record, grid.pitch);
  SweepPictures pictures(context.reader, record, views,
                         std::int64_t(kPicturesShare * double(context.scheduler.memory_bytes())));
  snap_to_edges(grid, water, wall, views, pictures, context, heights);
}

}  // namespace

double HeightGrid::at(double mosaic_x_px, double mosaic_y_px) const {
  const double column = std::clamp((mosaic_x_px + 0.5) / step_px - 0.5, 0.0, columns - 1.0),
               row = std::clamp((mosaic_y_px + 0.5) / step_px - 0.5, 0.0, rows - 1.0);
  const int c = std::min(int(column), columns - 2), r = std::min(int(row), rows - 2);
  const float* upper = heights.data() + std::size_t(r) * std::size_t(columns) + std::size_t(c);
  const float* lower = upper + columns;
  const double a = column - c, b = row - r;
  const double node[] = {upper[0], upper[1], lower[0], lower[1]},
               share[] = {(1 - a) * (1 - b), a * (1 - b), (1 - a) * b, a * b};
  const auto [low, high] = std::minmax({node[0], node[1], node[2], node[3]});
  if (high - low <= wall)
    return node[0] * share[0] + node[1] * share[1] + node[2] * share[2] + node[3] * share[3];
  const double middle = 0.5 * (low + high);
  double sum[2] = {0, 0}, weight[2] = {0, 0};
  for (int k = 0; k < 4; ++k)
    sum[node[k] > middle] += share[k] * node[k], weight[node[k] > middle] += share[k];
  const bool is_above = weight[1] > weight[0];
  return sum[is_above] / weight[is_above];
}

void describe(Options& options, OptionVisitor& visitor) {
  visitor.option(
      {.name = "surface",
       .help = "of a flight whose ground is not flat. heights: find its relief and what stands on it, and "
               "look straight down on that; plane: show each frame as if its own ground were flat",
       .choices = {"heights", "plane"}},
      options.kind);
}

void build(FlightRecord& flight, const Options& options, RunContext& context) {
  flight.surface.reset();
  if (options.kind == "plane" || !(flight.placement.relief_spread > 0)) return;
  const FlightPlacement& placement = flight.placement;
  const std::optional<FlightMeasures> measures = measures_of(flight);
  if (!measures || placement.mosaic_width_px < 64 || placement.mosaic_height_px < 64) return;
  const double step_px = finest_step_px(*measures, placement);
  const double wall = kWallShare * measures->height;
  NodeGrid grid;
  FoundHeights found;
  cv::Mat heights, water;
  for (int level = kLevels - 1; level >= 0; --level) {
    const bool is_first = level == kLevels - 1;
    const double coarser_pitch = grid.pitch;
    grid = grid_of(*measures, placement, step_px * std::pow(kCoarser, level));
    const cv::Size size(grid.columns, grid.rows);
    const SearchRange range =
        is_first ? whole_range(*measures, placement, grid)
                 : range_round(heights, found.agreeing, size, kRoughSigmas * height_sigma(coarser_pitch));
    const FoundHeights coarser = found;
    found = find_level(grid, range, wall, measures->frame_px, flight, context);
    if (!is_first) take_over(coarser, wall, found);
    water = is_first ? water_nodes(flight, sweep_views(flight, grid.pitch), grid, whole_surface(found, wall),
                                   context)
                     : at_finer_nodes(water, size, cv::INTER_NEAREST);
    forget_on_water(found, water);
    if (cv::countNonZero(found.agreeing) == 0) return;
    heights = whole_surface(found, wall);
  }
  snap(grid, water, wall, flight, context, heights);
  write_surface(context.out / kSurfaceFile, heights, found.agreeing, step_px, placement);
  SurfaceRecord record;
  record.file = kSurfaceFile;
  record.step_px = step_px;
  record.known_share = double(cv::countNonZero(found.agreeing)) / double(found.agreeing.total());
  record.height_sigma = height_sigma(grid.pitch);
  flight.surface = record;
}

HeightGrid read(const FlightRecord& flight, const std::filesystem::path& out) {
  HeightGrid grid;
  if (!flight.surface) return grid;
  cv::Mat heights, agreeing;
  read_surface(out / flight.surface->file, heights, agreeing);
  grid.columns = heights.cols;
  grid.rows = heights.rows;
  grid.step_px = flight.surface->step_px;
  if (const auto measures = measures_of(flight)) grid.wall = kWallShare * measures->height;
  grid.heights.assign(heights.begin<float>(), heights.end<float>());
  grid.confidence.assign(agreeing.begin<uchar>(), agreeing.end<uchar>());
  double lowest = 0, highest = 0;
  cv::minMaxLoc(heights, &lowest, &highest);
  grid.lowest = float(lowest);
  grid.highest = float(highest);
  return grid;
}

}  // namespace lookdown::surface
