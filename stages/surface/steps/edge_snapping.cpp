#include "stages/surface/steps/edge_snapping.h"

#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>
#include <optional>

#include "pipeline/base/minimum_cut.h"
#include "stages/surface/steps/carried_on.h"
#include "stages/surface/steps/side_likeness.h"

namespace lookdown::surface {
namespace {

constexpr int kReach = 7;   ///< nodes by which a step may lie wrong
constexpr int kPasses = 4;  ///< a step may lie wrong by more, and be brought nearer by and by
constexpr int kSnapMarginNodes = 32;
constexpr int kFewNodes = 12;  ///< of a tile: when no more change their side it is done
/// Code values, as the likeness is: the most that one node says, and what a border costs between two nodes
/// that look alike.
constexpr float kMostSaid = 6;
constexpr double kBorder = 8;
constexpr double kCodeValues = 3;     ///< of grain, that are no edge
constexpr double kOwnContrast = 0.4;  ///< of a neighbourhood's standard deviation, from which an edge counts
constexpr double kAlongEdge = 0.1;    ///< of what a border costs, along an edge: outlines are short

/// Standard deviation of what is shown round each node, code values.
cv::Mat contrast_of(const cv::Mat& look) {
  constexpr int kSide = 2 * kReach + 1;
  cv::Mat values, mean, squares, contrast;
  look.convertTo(values, CV_32F);
  cv::blur(values, mean, {kSide, kSide}, {-1, -1}, cv::BORDER_REPLICATE);
  cv::blur(values.mul(values), squares, {kSide, kSide}, {-1, -1}, cv::BORDER_REPLICATE);
  cv::sqrt(cv::max(squares - mean.mul(mean), 0), contrast);
  return contrast;
}

template <typename Do>
void for_each_place(const cv::Mat& where, const Do& act) {
  for (int row = 0; row < where.rows; ++row)
    for (int column = 0; column < where.cols; ++column)
      if (where.at<uchar>(row, column)) act(cv::Point(column, row));
}

/// Of a border between two nodes, code values.
double border_cost(const cv::Mat& look, double contrast, cv::Point a, cv::Point b) {
  if (look.at<uchar>(a) == 0 || look.at<uchar>(b) == 0) return kBorder;
  const double apart =
      (double(look.at<uchar>(a)) - double(look.at<uchar>(b))) / (kCodeValues + kOwnContrast * contrast);
  return kBorder * (kAlongEdge + (1 - kAlongEdge) * std::exp(-0.5 * apart * apart));
}

/// Places on the step, spread over it.
std::vector<Eigen::Vector3d> spots_of(const NodeGrid& grid, const cv::Rect& nodes, const Sides& sides) {
  constexpr int kSpots = 24;
  const int all = cv::countNonZero(sides.at_step);
  std::vector<Eigen::Vector3d> spots;
  int at = 0;
  for_each_place(sides.at_step, [&](cv::Point p) {
    if (at++ % std::max(1, all / kSpots) != 0) return;
    const Eigen::Vector3d ground = grid.ground_from_node * Eigen::Vector3d(nodes.x + p.x, nodes.y + p.y, 1);
    spots.emplace_back(ground.x(), ground.y(), double(sides.upper.at<float>(p)));
  });
  return spots;
}

SideLikeness side_likeness(const NodeGrid& grid, const cv::Rect& nodes, const std::vector<SweepView>& views,
                           SweepPictures& pictures, const Sides& sides, const cv::Mat& heights) {
  std::vector<const SweepView*> chosen;
  std::vector<SweepPictures::Picture> shown;
  for (const int view : choose_views(views, spots_of(grid, nodes, sides)).views) {
    chosen.push_back(&views[std::size_t(view)]);
    shown.push_back(pictures.of(view));
  }
  return {grid, nodes, chosen, shown, heights};
}

}  // namespace

Sides sides_of_steps(const cv::Mat& heights, double wall) {
  const cv::Mat around(2 * kReach + 1, 2 * kReach + 1, CV_8UC1, cv::Scalar(1));
  cv::Mat low, high;
  cv::erode(heights, low, around);
  cv::dilate(heights, high, around);
  const cv::Mat near = high - low > wall, middle = 0.5 * (high + low);
  Sides sides;
  cv::Mat reached;
  cv::dilate(near, reached, around);
  const cv::Mat upper = carried_on(heights, near & (heights > middle), reached),
                lower = carried_on(heights, near & (heights <= middle), reached);
  sides.upper = heights.clone();
  sides.lower = heights.clone();
  cv::Mat(cv::max(heights, upper)).copyTo(sides.upper, reached);
  cv::Mat(cv::min(heights, lower)).copyTo(sides.lower, reached);
  sides.at_step = near & (sides.upper - sides.lower > 0.5 * wall);
  return sides;
}

cv::Mat cut_between_sides(const cv::Mat& heights, const Sides& sides, const cv::Mat& likeness,
                          const cv::Mat& look, const Inertia& inertia) {
  const cv::Rect whole({}, heights.size());
  const cv::Mat middle = 0.5 * (sides.upper + sides.lower), contrast = contrast_of(look);
  int nodes = 0;
  cv::Mat number(heights.size(), CV_32SC1, cv::Scalar(-1)), placed = heights.clone();
  for_each_place(sides.at_step, [&](cv::Point here) { number.at<int>(here) = nodes++; });
  MinimumCut cut(nodes, 4 * nodes);
  for_each_place(sides.at_step, [&](cv::Point here) {
    const int node = number.at<int>(here);
    const float halfway = middle.at<float>(here);
    const float told = likeness.at<float>(here), stays = told == 0 ? inertia.untold : inertia.told,
                said = std::clamp(told, -kMostSaid, kMostSaid) +
                       (heights.at<float>(here) > halfway ? stays : -stays);
    cut.add_terminal(node, std::max(0.F, said), std::max(0.F, -said));
    for (int way = 0; way < 9; ++way) {
      const cv::Point there = here + cv::Point(way % 3 - 1, way / 3 - 1);
      if (there == here || !whole.contains(there)) continue;
      const double cost = border_cost(look, double(contrast.at<float>(here)), here, there) /
                          (way % 2 == 0 ? std::sqrt(2.0) : 1);
      const int other = number.at<int>(there);
      if (other > node) cut.add_link(node, other, cost, cost);
      if (other >= 0) continue;
      // What lies away from the step stays what it is.
      const bool is_upper = heights.at<float>(there) > halfway;
      cut.add_terminal(node, is_upper ? cost : 0, is_upper ? 0 : cost);
    }
  });
  cut.solve();
  for_each_place(sides.at_step, [&](cv::Point here) {
    const bool was_upper = heights.at<float>(here) > middle.at<float>(here),
               is_upper = cut.on_source_side(number.at<int>(here));
    if (was_upper != is_upper)
      placed.at<float>(here) = (is_upper ? sides.upper : sides.lower).at<float>(here);
  });
  return placed;
}

void snap_to_edges(const NodeGrid& grid, const cv::Mat& water, double wall,
                   const std::vector<SweepView>& views, SweepPictures& pictures, RunContext& context,
                   cv::Mat& heights) {
  const cv::Rect whole({}, heights.size());
  const int side = usual_tile_side(views);
  std::vector<cv::Rect> tiles;
  for (int y = 0; y < whole.height; y += side)
    for (int x = 0; x < whole.width; x += side) tiles.push_back(cv::Rect(x, y, side, side) & whole);
  const cv::Mat before = heights.clone();
  const std::int64_t peak_bytes = 200LL * (side + 2 * kSnapMarginNodes) * (side + 2 * kSnapMarginNodes);
  context.scheduler.for_each_frame(
      tiles.size(), peak_bytes,
      [&](std::size_t i) {
        const cv::Rect outer =
            cv::Rect(tiles[i].x - kSnapMarginNodes, tiles[i].y - kSnapMarginNodes,
                     tiles[i].width + 2 * kSnapMarginNodes, tiles[i].height + 2 * kSnapMarginNodes) &
            whole;
        cv::Mat part = before(outer).clone();
        std::optional<SideLikeness> seen;
        for (int pass = 0; pass < kPasses; ++pass) {
          const Sides sides = sides_of_steps(part, wall);
          if (cv::countNonZero(sides.at_step) == 0) break;
          if (!seen) seen.emplace(side_likeness(grid, outer, views, pictures, sides, part));
          cv::Mat likeness = seen->at(sides.upper, sides.lower, part, sides.at_step);
          likeness.setTo(0, water(outer));
          cv::Mat shown;
          cv::dilate(sides.at_step, shown, cv::Mat(2 * kReach + 1, 2 * kReach + 1, CV_8UC1, cv::Scalar(1)));
          const cv::Mat placed = cut_between_sides(part, sides, likeness, seen->look(sides.upper, shown));
          const int changed = cv::countNonZero(placed != part);
          part = placed;
          if (changed < kFewNodes) break;
        }
        part(tiles[i] - outer.tl()).copyTo(heights(tiles[i]));
      },
      [](std::size_t, const std::optional<Fault>&) {});
}

}  // namespace lookdown::surface
