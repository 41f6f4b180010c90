#include "stages/mosaic/roofs/upright_roofs.h"

#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>

#include "stages/mosaic/roofs/plane_sweep.h"
#include "stages/mosaic/roofs/roof_outline.h"

namespace lookdown::mosaic {
namespace {

constexpr double kNodePx = 2, kMostNodes = 16e6;
constexpr int kRoomCells = 8;     // round a roof, where its sides are looked for
constexpr double kInward = 0.25;  // of a roof's width: how far its outline may reach beyond it
constexpr double kFills = 0.65;   // of the union of a roof's outline and its rectangle both must cover

std::vector<cv::Point2d> scaled(const std::vector<cv::Point2d>& outline, double factor) {
  std::vector<cv::Point2d> other;
  for (const cv::Point2d& corner : outline)
    other.push_back((corner + cv::Point2d(0.5, 0.5)) * factor - cv::Point2d(0.5, 0.5));
  return other;
}

/// The roof's rectangle in canvas pixels; empty when it has none.
std::vector<cv::Point2d> rectangle_of(const RaisedArea& roof, const HeightSweep& sweep,
                                      const Survey& survey) {
  const std::vector<cv::Point2d> cells = scaled(roof.outline, 1.0 / survey.cell_px);
  const cv::Rect box = box_of(cells);
  const cv::Rect region = cv::Rect(box.x - kRoomCells, box.y - kRoomCells, box.width + 2 * kRoomCells,
                                   box.height + 2 * kRoomCells) &
                          cv::Rect(0, 0, survey.columns, survey.rows);
  if (region.empty()) return {};
  const cv::Mat mask = filled_outline(cells, region);
  if (cv::countNonZero(mask) == 0) return {};
  const Scatter raised = sweep.at(roof.height_px, region);
  const Corners box_round = trimmed_box(mask);
  const double width = std::min(cv::norm(box_round[1] - box_round[0]), cv::norm(box_round[2] - box_round[1]));
  Corners corners = fitted_to_edges(raised.mean, box_round, kInward * width);
  const cv::Mat filled = filled_outline({corners.begin(), corners.end()}, cv::Rect({}, region.size()));
  const int common = cv::countNonZero(filled & mask), either = cv::countNonZero(filled | mask);
  if (common < kFills * either || !has_clear_sides(raised.mean, corners) ||
      !agree_better(sweep.at(0, region), raised, filled))
    return {};
  for (cv::Point2d& corner : corners) corner += cv::Point2d(region.tl());
  return scaled({corners.begin(), corners.end()}, survey.cell_px);
}

/// True for another piece of what stands upright now: it would be joined as if it still leaned.
bool is_piece_of(const RaisedArea& roof, const RaisedArea& upright) {
  constexpr double kAsHigh = 0.05;
  const cv::Rect own = box_of(roof.outline), whole = box_of(upright.outline);
  const int room = std::abs(roof.height_px - upright.height_px) < kAsHigh * upright.height_px
                       ? std::min(whole.width, whole.height) / 2
                       : 0;
  const cv::Rect around(whole.x - room, whole.y - room, whole.width + 2 * room, whole.height + 2 * room);
  return !(around & own).empty();
}

}  // namespace

std::vector<RaisedArea> take_rectangles(std::vector<RaisedArea>& roofs, const std::vector<FrameView>& views,
                                        const Survey& survey) {
  std::vector<RaisedArea> upright;
  if (roofs.empty() || views.size() < 2) return upright;
  const HeightSweep sweep(views, survey);
  std::erase_if(roofs, [&](const RaisedArea& roof) {
    if (!(roof.height_px > 0)) return false;
    std::vector<cv::Point2d> rectangle = rectangle_of(roof, sweep, survey);
    if (rectangle.empty()) return false;
    upright.push_back({roof.height_px, std::move(rectangle)});
    return true;
  });
  std::erase_if(roofs, [&](const RaisedArea& roof) {
    return std::any_of(upright.begin(), upright.end(),
                       [&](const RaisedArea& area) { return is_piece_of(roof, area); });
  });
  return upright;
}

void leave_out_upright(const surface::HeightGrid& grid, const Canvas& canvas,
                       std::vector<RaisedArea>& roofs) {
  constexpr double kShare = 0.2;  // of a roof, from which it is the one that stands
  if (grid.empty()) return;
  const double nodes_per_canvas_px = 1 / (canvas.canvas_per_placed * grid.step_px);
  const cv::Mat heights(grid.rows, grid.columns, CV_32FC1, const_cast<float*>(grid.heights.data()));
  std::erase_if(roofs, [&](const RaisedArea& roof) {
    const std::vector<cv::Point2d> nodes = scaled(roof.outline, nodes_per_canvas_px);
    const cv::Rect box = box_of(nodes) & cv::Rect(0, 0, grid.columns, grid.rows);
    if (box.empty()) return false;
    const cv::Mat inside = filled_outline(nodes, box);
    return cv::countNonZero(inside & (heights(box) > grid.wall)) > kShare * cv::countNonZero(inside);
  });
}

void add_heights(const std::vector<RaisedArea>& areas, const FlightPlacement& placement, const Canvas& canvas,
                 surface::HeightGrid& grid) {
  if (areas.empty()) return;
  if (grid.empty()) {
    grid.step_px = std::max(kNodePx, std::sqrt(static_cast<double>(placement.mosaic_width_px) *
                                               placement.mosaic_height_px / kMostNodes));
    grid.columns = std::max(2, static_cast<int>(std::ceil(placement.mosaic_width_px / grid.step_px)));
    grid.rows = std::max(2, static_cast<int>(std::ceil(placement.mosaic_height_px / grid.step_px)));
    grid.heights.assign(static_cast<std::size_t>(grid.columns) * static_cast<std::size_t>(grid.rows), 0);
    grid.confidence.assign(grid.heights.size(), 1);
    grid.wall = 1e30;
  }
  const cv::Rect whole(0, 0, grid.columns, grid.rows);
  cv::Mat heights(whole.size(), CV_32FC1, grid.heights.data());
  const double world_per_canvas_px =
      placement.gsd_m && canvas.gsd_m ? *canvas.gsd_m : 1 / canvas.canvas_per_placed;
  const double nodes_per_canvas_px = 1 / (canvas.canvas_per_placed * grid.step_px);
  for (const RaisedArea& area : areas) {
    const auto height = static_cast<float>(area.height_px * world_per_canvas_px);
    const cv::Mat inside = filled_outline(scaled(area.outline, nodes_per_canvas_px), whole);
    heights.setTo(height, inside & (heights < height));
    grid.highest = std::max(grid.highest, height);
    grid.wall = std::min(grid.wall, 0.5 * static_cast<double>(height));
  }
}

}  // namespace lookdown::mosaic
