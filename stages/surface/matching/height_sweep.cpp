#include "stages/surface/matching/height_sweep.h"

#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>

#include "stages/surface/matching/plane_sweep.h"

namespace lookdown::surface {
namespace {

constexpr int kMarginNodes = 16;  ///< that semi-global paths run in on from outside the tile
constexpr int kMostHypotheses = 192;
constexpr int kLeastHypotheses = 8;
/// Largest parallax from one hypothesis to the next, pixels.
constexpr double kParallaxStepPx = 0.8;
/// A height is known where any other is worse by this share of what pictures that have nothing in common
/// cost: chosen on estate 11 and mixed 1 so that 95 % of what is known is right within 6 frame pixels. What
/// differs by more bits of the census is not known either: moving water has 5 to 9, fields under grain 2 to
/// 4, and chance has 12.
constexpr float kLeastMargin = 0.2F;
constexpr double kMostUnlikeBits = 5;
/// A place at the rim, which pairs show under few hypotheses only, has no choice: what fits there fits by
/// chance.
constexpr float kLeastTold = 0.35F;

/// One view of one tile: homogeneous picture position of node (column, row) at the base, and what a unit of
/// height adds to it.
struct TileView {
  SweepPictures::Picture picture;
  cv::Mat x, y, depth;  ///< CV_32FC1
  Eigen::Vector3f per_height = Eigen::Vector3f::Zero();
};

class Tile {
 public:
  Tile(const NodeGrid& grid, const SearchRange& range, const cv::Rect& nodes,
       const std::vector<SweepView>& views, SweepPictures& pictures)
      : nodes_(nodes), base_(range.base(nodes)) {
    double unused = 0;
    cv::minMaxLoc(range.lowest(nodes), &lowest_, &unused);
    cv::minMaxLoc(range.highest(nodes), &unused, &highest_);
    choice_ = choose_views(views, spots(grid));
    if (choice_.pairs.empty()) return;
    step_ = kParallaxStepPx * grid.pitch / std::clamp(choice_.spread, 0.1, 1.0);
    step_ = std::max(step_, (highest_ - lowest_) / (kMostHypotheses - 1));
    hypotheses_ = std::max(kLeastHypotheses, int(std::ceil((highest_ - lowest_) / step_)) + 1);
    cv::Mat((range.lowest(nodes) - lowest_) / step_ - 0.5).convertTo(first_, CV_16S);
    cv::Mat((range.highest(nodes) - lowest_) / step_ + 0.5).convertTo(last_, CV_16S);
    cv::min(last_, hypotheses_ - 1, last_);
    for (const int view : choice_.views)
      views_.push_back(look_at(grid, views[std::size_t(view)], pictures.of(view)));
  }

  [[nodiscard]] bool tells_heights() const { return !choice_.pairs.empty(); }

  [[nodiscard]] FoundHeights find() const {
    const Sweep task{nodes_.size(),
                     hypotheses_,
                     int(views_.size()),
                     [&](int view, int hypothesis, const cv::Rect& part, cv::Mat& grey) {
                       const float offset = float(lowest_ + hypothesis * step_);
                       show(
                           views_[std::size_t(view)], part, [&](int, int) { return offset; }, grey);
                     },
                     choice_.sides,
                     first_,
                     last_};
    const SweepAnswer answer = sweep(task);
    const cv::Mat offsets = answer.hypothesis * step_ + lowest_;
    std::vector<cv::Mat> shown(views_.size());
    for (std::size_t i = 0; i < views_.size(); ++i)
      show(
          views_[i], cv::Rect({}, nodes_.size()),
          [&](int row, int column) { return offsets.at<float>(row, column); }, shown[i]);
    FoundHeights found{base_ + offsets, agreeing_views(shown, choice_.pairs),
                       (answer.told >= kLeastTold) & (answer.unlike <= kMostUnlikeBits)};
    found.agreeing.setTo(0, (answer.margin < kLeastMargin) | (found.told == 0) | (found.agreeing < 2));
    return found;
  }

 private:
  [[nodiscard]] std::vector<Eigen::Vector3d> spots(const NodeGrid& grid) const {
    constexpr int kSide = 6;
    std::vector<Eigen::Vector3d> found;
    for (int i = 0; i < kSide; ++i)
      for (int j = 0; j < kSide; ++j) {
        const int column = (nodes_.width - 1) * j / (kSide - 1), row = (nodes_.height - 1) * i / (kSide - 1);
        const Eigen::Vector3d ground =
            grid.ground_from_node * Eigen::Vector3d(nodes_.x + column, nodes_.y + row, 1);
        found.emplace_back(ground.x(), ground.y(), base_.at<float>(row, column) + 0.5 * (lowest_ + highest_));
      }
    return found;
  }

  [[nodiscard]] TileView look_at(const NodeGrid& grid, const SweepView& view,
                                 SweepPictures::Picture picture) const {
    TileView seen{std::move(picture), cv::Mat(nodes_.size(), CV_32FC1), cv::Mat(nodes_.size(), CV_32FC1),
                  cv::Mat(nodes_.size(), CV_32FC1), view.picture_from_world.col(2).cast<float>()};
    // From the tile's own corner, so that single precision is enough whatever the world's origin.
    Eigen::Matrix3d from_node = view.picture_from_world * grid.ground_from_node;
    const Eigen::Vector3d corner =
        view.picture_from_world * (grid.ground_from_node * Eigen::Vector3d(nodes_.x, nodes_.y, 1) -
                                   Eigen::Vector3d(0, 0, 1) - view.centre);
    // ground_from_node's last row gives z = 1, which the corner has had taken off.
    const Eigen::Vector3f origin = corner.cast<float>(), right = from_node.col(0).cast<float>(),
                          down = from_node.col(1).cast<float>();
    for (int row = 0; row < nodes_.height; ++row)
      for (int column = 0; column < nodes_.width; ++column) {
        const Eigen::Vector3f at = origin + float(column) * right + float(row) * down +
                                   base_.at<float>(row, column) * seen.per_height;
        seen.x.at<float>(row, column) = at.x();
        seen.y.at<float>(row, column) = at.y();
        seen.depth.at<float>(row, column) = at.z();
      }
    return seen;
  }

  /// What the view shows of a part of the tile at the base plus `offset(row, column)` of that part; 0 where
  /// it shows nothing.
  template <typename Offset>
  void show(const TileView& view, const cv::Rect& part, const Offset& offset, cv::Mat& grey) const {
    const int width = part.width;
    cv::Mat map_x(part.size(), CV_32FC1), map_y(part.size(), CV_32FC1);
    const float per_x = view.per_height.x(), per_y = view.per_height.y(), per_depth = view.per_height.z();
    for (int row = 0; row < part.height; ++row) {
      const float *x = view.x.ptr<float>(part.y + row) + part.x,
                  *y = view.y.ptr<float>(part.y + row) + part.x,
                  *depth = view.depth.ptr<float>(part.y + row) + part.x;
      float* __restrict to_x = map_x.ptr<float>(row);
      float* __restrict to_y = map_y.ptr<float>(row);
      for (int column = 0; column < width; ++column) {
        const float h = offset(row, column), inverse = 1 / (depth[column] + h * per_depth);
        // Behind the camera, or far outside: beyond what is drawn, within what a short can hold.
        const float column_px = (x[column] + h * per_x) * inverse, row_px = (y[column] + h * per_y) * inverse;
        const bool is_before = inverse > 0;
        to_x[column] = is_before ? std::min(std::max(column_px, -9.0F), 30000.0F) : -9.0F;
        to_y[column] = is_before ? std::min(std::max(row_px, -9.0F), 30000.0F) : -9.0F;
      }
    }
    cv::remap(*view.picture, grey, map_x, map_y, cv::INTER_LINEAR, cv::BORDER_CONSTANT, cv::Scalar(0));
  }

  cv::Rect nodes_;
  cv::Mat base_;
  double lowest_ = 0, highest_ = 0, step_ = 1;
  int hypotheses_ = 0;
  cv::Mat first_, last_;  ///< hypotheses in question at each node
  ViewChoice choice_;
  std::vector<TileView> views_;
};

}  // namespace

FoundHeights sweep_heights(const NodeGrid& grid, const SearchRange& range,
                           const std::vector<SweepView>& views, SweepPictures& pictures, RunContext& context,
                           FlightRecord& flight) {
  const cv::Rect whole(0, 0, grid.columns, grid.rows);
  const int side = usual_tile_side(views);
  std::vector<cv::Rect> tiles;
  for (int y = 0; y < grid.rows; y += side)
    for (int x = 0; x < grid.columns; x += side) tiles.push_back(cv::Rect(x, y, side, side) & whole);
  FoundHeights all{range.base.clone(), cv::Mat::zeros(whole.size(), CV_8UC1),
                   cv::Mat::zeros(whole.size(), CV_8UC1)};
  const std::int64_t peak_bytes =
      std::int64_t(side + 2 * kMarginNodes) * (side + 2 * kMarginNodes) * (3 * kMostHypotheses + 200);
  context.progress.start("surface", tiles.size());
  context.scheduler.for_each_frame(
      tiles.size(), peak_bytes,
      [&](std::size_t i) {
        const cv::Rect& inner = tiles[i];
        const cv::Rect outer = cv::Rect(inner.x - kMarginNodes, inner.y - kMarginNodes,
                                        inner.width + 2 * kMarginNodes, inner.height + 2 * kMarginNodes) &
                               whole;
        const Tile tile(grid, range, outer, views, pictures);
        if (!tile.tells_heights()) return;
        const FoundHeights found = tile.find();
        // Tiles do not overlap: each thread writes places of its own.
        const cv::Rect part = inner - outer.tl();
        found.heights(part).copyTo(all.heights(inner));
        found.agreeing(part).copyTo(all.agreeing(inner));
        found.told(part).copyTo(all.told(inner));
      },
      [&](std::size_t i, const std::optional<Fault>& fault) {
        if (fault) flight.warnings.push_back("surface: a frame changed during the run: " + fault->message());
        context.progress.step(i + 1);
      });
  context.progress.finish();
  return all;
}

}  // namespace lookdown::surface
