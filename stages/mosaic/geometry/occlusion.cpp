#include "stages/mosaic/geometry/occlusion.h"

#include <tbb/parallel_for.h>

#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>

namespace lookdown::mosaic {

namespace {

constexpr int kBlock = 16;

/// The highest node of each block of kBlock x kBlock: rays that pass above it need not look into it.
cv::Mat tallest_of(const cv::Mat& heights) {
  cv::Mat tallest((heights.rows + kBlock - 1) / kBlock, (heights.cols + kBlock - 1) / kBlock, CV_32FC1,
                  cv::Scalar(-1e30));
  for (int row = 0; row < heights.rows; ++row)
    for (int column = 0; column < heights.cols; ++column) {
      float& here = tallest.at<float>(row / kBlock, column / kBlock);
      here = std::max(here, heights.at<float>(row, column));
    }
  return tallest;
}

/// The highest node that a ray of up to `nodes` nodes from somewhere in a block can meet.
cv::Mat highest_within(const cv::Mat& tallest, double nodes) {
  const int reach = static_cast<int>(nodes / kBlock) + 1;
  cv::Mat highest;
  cv::dilate(tallest, highest, cv::Mat::ones(2 * reach + 1, 2 * reach + 1, CV_8UC1));
  return highest;
}

/// Whole steps of `along` from `at` that surely stay between the borders of the block that node `node` is in.
int steps_inside(double at, double along, int node) {
  const int first_node = node / kBlock * kBlock;
  const double first = first_node - 0.5;
  if (std::abs(along) < 1e-9) return kBlock;
  return static_cast<int>((along > 0 ? first + kBlock - at : at - first) / std::abs(along));
}

void find_hidden(FrameView& view, const cv::Mat& tallest) {
  const surface::HeightGrid& grid = *view.surface;
  const double per_node = grid.step_px * view.canvas_per_placed;
  view.hidden_nodes = cv::Rect(cv::Point(static_cast<int>(view.box.x / per_node) - 1,
                                         static_cast<int>(view.box.y / per_node) - 1),
                               cv::Point(static_cast<int>(view.box.br().x / per_node) + 2,
                                         static_cast<int>(view.box.br().y / per_node) + 2)) &
                      cv::Rect(0, 0, grid.columns, grid.rows);
  const cv::Rect& nodes = view.hidden_nodes;
  if (nodes.empty()) return;
  const cv::Mat heights(grid.rows, grid.columns, CV_32FC1, const_cast<float*>(grid.heights.data()));
  double lowest = 0, highest = 0;
  cv::minMaxLoc(heights(nodes), &lowest, &highest);
  // Less than half a node of lean is no wall.
  if ((highest - lowest) / view.camera_height * std::max(nodes.width, nodes.height) < 0.5) return;
  const double foot_column = (view.nadir_x_px + 0.5) / per_node - 0.5,
               foot_row = (view.nadir_y_px + 0.5) / per_node - 0.5;
  const double farthest =
      std::hypot(std::max(std::abs(foot_column - nodes.x), std::abs(foot_column - nodes.br().x)),
                 std::max(std::abs(foot_row - nodes.y), std::abs(foot_row - nodes.br().y)));
  // Rays climb at least as fast as from the lowest node farthest away.
  const cv::Mat in_reach = highest_within(
      tallest,
      std::min(farthest, (highest - lowest) * farthest / std::max(1e-9, view.camera_height - highest)));
  cv::Mat hidden = cv::Mat::zeros(nodes.size(), CV_8UC1);
  bool any = false;
  for (int row = 0; row < nodes.height; ++row)
    for (int column = 0; column < nodes.width; ++column) {
      const double x = nodes.x + column, y = nodes.y + row;
      const double far = std::hypot(foot_column - x, foot_row - y);
      if (far < 2) continue;
      const double own = heights.at<float>(nodes.y + row, nodes.x + column);
      const double climb = (view.camera_height - own) / far;  // of the ray, a node
      if (!(climb > 0)) continue;
      const float meets = in_reach.at<float>((nodes.y + row) / kBlock, (nodes.x + column) / kBlock);
      if (meets <= own + 3 * climb) continue;  // what the first step tested below asks for
      const double across = (foot_column - x) / far, down = (foot_row - y) / far;
      // The first node is the foot of whatever stands there; its height is that of a slope between two nodes.
      const int most = static_cast<int>(std::min(far, (highest - own) / climb));
      for (int step = 2; step <= most; ++step) {
        const int c = static_cast<int>(std::lround(x + step * across)),
                  r = static_cast<int>(std::lround(y + step * down));
        if (c < 0 || r < 0 || c >= grid.columns || r >= grid.rows) break;
        if (tallest.at<float>(r / kBlock, c / kBlock) <= own + (step + 1.0) * climb) {
          const int skipped =
              std::min(steps_inside(x + step * across, across, c), steps_inside(y + step * down, down, r));
          step += std::max(0, skipped - 1);
          continue;
        }
        if (heights.at<float>(r, c) > own + (step + 1.0) * climb) {
          hidden.at<uchar>(row, column) = 255;
          any = true;
          break;
        }
      }
    }
  if (any) view.hidden = hidden;
}

void keep_shown(std::vector<FrameView>& views) {
  if (std::all_of(views.begin(), views.end(), [](const FrameView& view) { return view.hidden.empty(); }))
    return;
  const surface::HeightGrid& grid = *views.front().surface;
  const double per_node = grid.step_px * views.front().canvas_per_placed;
  cv::Mat shown = cv::Mat::zeros(grid.rows, grid.columns, CV_8UC1), hidden = shown.clone();
  for (const FrameView& view : views)
    if (!view.hidden.empty()) hidden(view.hidden_nodes) |= view.hidden;
  // Nodes just inside a frame's rim may not be usable all round: they do not count.
  cv::dilate(hidden, hidden, cv::Mat());
  for (const FrameView& view : views)
    for (int row = view.hidden_nodes.y; row < view.hidden_nodes.br().y; ++row)
      for (int column = view.hidden_nodes.x; column < view.hidden_nodes.br().x; ++column)
        if (hidden.at<uchar>(row, column) && !shown.at<uchar>(row, column))
          shown.at<uchar>(row, column) =
              view.sight((column + 0.5) * per_node - 0.5, (row + 0.5) * per_node - 0.5).usable ? 255 : 0;
  // A mosaic pixel between a shown and a hidden node must have a view for all of itself.
  cv::erode(shown, shown, cv::Mat());
  for (FrameView& view : views)
    if (!view.hidden.empty()) view.hidden &= shown(view.hidden_nodes);
}

}  // namespace

void find_hidden(std::vector<FrameView>& views) {
  if (views.empty() || views.front().surface == nullptr) return;
  const surface::HeightGrid& grid = *views.front().surface;
  const cv::Mat tallest =
      tallest_of(cv::Mat(grid.rows, grid.columns, CV_32FC1, const_cast<float*>(grid.heights.data())));
  tbb::parallel_for(std::size_t{0}, views.size(), [&](std::size_t i) { find_hidden(views[i], tallest); });
  keep_shown(views);
}

}  // namespace lookdown::mosaic
