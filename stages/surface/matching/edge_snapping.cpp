#include "stages/surface/matching/edge_snapping.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <opencv2/imgproc.hpp>

namespace lookdown::surface {
namespace {

constexpr int kSnapTileNodes = 256;
constexpr int kReach = 7;    ///< nodes by which a step may lie wrong, and over which likes are looked for
constexpr int kPasses = 12;  ///< a wide gap at a roof's corner is won back by and by
constexpr int kSnapMarginNodes = 48;
constexpr std::size_t kLooks = 3;
constexpr int kFewNodes = 12;  ///< of a tile: when no more change their side it is done
constexpr float kUnknownCounts = 0.3F;
constexpr double kCodeValues = 3;     ///< of grain, that say nothing
constexpr double kOwnContrast = 0.4;  ///< of a neighbourhood's standard deviation, by which likes differ
constexpr double kAnyCounts = 0.05;   ///< of what is unlike too: outlines are short
constexpr float kClearVote = 0.1F;    ///< of all votes: below, a node stays on its side

/// The value of `from` at the nearest place where `there` is not 0.
cv::Mat carried_on(const cv::Mat& from, const cv::Mat& there) {
  if (cv::countNonZero(there) == 0) return from.clone();
  cv::Mat distance, labels, result(from.size(), CV_32FC1);
  cv::distanceTransform(there == 0, distance, labels, cv::DIST_L2, cv::DIST_MASK_5, cv::DIST_LABEL_PIXEL);
  std::vector<float> values(there.total() + 1, 0);
  for (int row = 0; row < from.rows; ++row)
    for (int column = 0; column < from.cols; ++column)
      if (there.at<uchar>(row, column))
        values[std::size_t(labels.at<int>(row, column))] = from.at<float>(row, column);
  for (int row = 0; row < from.rows; ++row)
    for (int column = 0; column < from.cols; ++column)
      result.at<float>(row, column) = values[std::size_t(labels.at<int>(row, column))];
  return result;
}

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

/// Weights of votes: by where they come from, and by how far the code values lie apart.
class Weights {
 public:
  Weights() {
    for (int dy = -kReach; dy <= kReach; ++dy)
      for (int dx = -kReach; dx <= kReach; ++dx)
        near_[place(dx, dy)] = float(std::exp(-(dx * dx + dy * dy) / (0.5 * kReach * kReach)));
    for (int spread = 0; spread < kSpreads; ++spread)
      for (int apart = 0; apart < 256; ++apart)
        like_[std::size_t(spread)][std::size_t(apart)] =
            float(kAnyCounts + std::exp(-0.5 * std::pow(apart / (spread + kCodeValues), 2)));
  }
  [[nodiscard]] float near(int dx, int dy) const { return near_[place(dx, dy)]; }
  /// By the difference, 0 .. 255, for a neighbourhood of that standard deviation.
  [[nodiscard]] const std::array<float, 256>& like(float contrast) const {
    return like_[std::size_t(std::clamp(int(kOwnContrast * double(contrast)), 0, kSpreads - 1))];
  }

 private:
  static constexpr int kSide = 2 * kReach + 1, kSpreads = 64;
  static std::size_t place(int dx, int dy) {
    const int index = (dy + kReach) * kSide + dx + kReach;
    return std::size_t(index);
  }
  std::array<float, std::size_t(kSide* kSide)> near_{};
  std::array<std::array<float, 256>, kSpreads> like_{};
};

/// Share of votes for the upper side, -1 .. 1.
float vote_at(const cv::Mat& heights, const cv::Mat& known, float middle, const cv::Mat& look, float contrast,
              cv::Point p) {
  static const Weights kWeights;
  const int own = look.at<uchar>(p);
  if (own == 0) return 0;
  const std::array<float, 256>& like = kWeights.like(contrast);
  const int left = std::max(-kReach, -p.x), right = std::min(kReach, heights.cols - 1 - p.x);
  float votes = 0, all = 0;
  for (int dy = std::max(-kReach, -p.y); dy <= std::min(kReach, heights.rows - 1 - p.y); ++dy) {
    const auto* height = heights.ptr<float>(p.y + dy) + p.x;
    const uchar *shown = look.ptr(p.y + dy) + p.x, *sure = known.ptr(p.y + dy) + p.x;
    for (int dx = left; dx <= right; ++dx) {
      if (shown[dx] == 0) continue;
      const float weight = like[std::size_t(std::abs(shown[dx] - own))] * kWeights.near(dx, dy) *
                           (sure[dx] ? 1 : kUnknownCounts);
      votes += height[dx] > middle ? weight : -weight;
      all += weight;
    }
  }
  return all > 0 ? votes / all : 0;
}

/// What a view shows of the nodes at the heights given; 0 where nothing.
cv::Mat look_at(const NodeGrid& grid, const cv::Rect& nodes, const SweepView& view, const cv::Mat& picture,
                const cv::Mat& heights) {
  cv::Mat map(nodes.size(), CV_32FC2), grey;
  for (int row = 0; row < nodes.height; ++row)
    for (int column = 0; column < nodes.width; ++column) {
      const Eigen::Vector3d ground =
          grid.ground_from_node * Eigen::Vector3d(nodes.x + column, nodes.y + row, 1);
      const Eigen::Vector3d q =
          view.picture_from_world *
          (Eigen::Vector3d(ground.x(), ground.y(), double(heights.at<float>(row, column))) - view.centre);
      map.at<cv::Vec2f>(row, column) = q.z() > 0 ? cv::Vec2f(float(std::clamp(q.x() / q.z(), -9.0, 30000.0)),
                                                             float(std::clamp(q.y() / q.z(), -9.0, 30000.0)))
                                                 : cv::Vec2f(-9, -9);
    }
  cv::remap(picture, grey, map, cv::noArray(), cv::INTER_LINEAR, cv::BORDER_CONSTANT, cv::Scalar(0));
  return grey;
}

std::vector<Eigen::Vector3d> spots_of(const NodeGrid& grid, const cv::Rect& nodes, const cv::Mat& heights) {
  constexpr int kSide = 4;
  std::vector<Eigen::Vector3d> spots;
  for (int i = 0; i < kSide; ++i)
    for (int j = 0; j < kSide; ++j) {
      const cv::Point p((nodes.width - 1) * j / (kSide - 1), (nodes.height - 1) * i / (kSide - 1));
      const Eigen::Vector3d ground = grid.ground_from_node * Eigen::Vector3d(nodes.x + p.x, nodes.y + p.y, 1);
      spots.emplace_back(ground.x(), ground.y(), double(heights.at<float>(p)));
    }
  return spots;
}

}  // namespace

Sides sides_of_steps(const cv::Mat& heights, double wall) {
  const cv::Mat around(2 * kReach + 1, 2 * kReach + 1, CV_8UC1, cv::Scalar(1));
  cv::Mat low, high;
  cv::erode(heights, low, around);
  cv::dilate(heights, high, around);
  const cv::Mat near = high - low > wall, middle = 0.5 * (high + low);
  Sides sides;
  // Within reach of a step, on either side, the other side's height is that of the nearest node over there.
  const cv::Mat upper = carried_on(heights, near & (heights > middle)),
                lower = carried_on(heights, near & (heights <= middle));
  cv::Mat reached;
  cv::dilate(near, reached, around);
  sides.upper = heights.clone();
  sides.lower = heights.clone();
  cv::Mat(cv::max(heights, upper)).copyTo(sides.upper, reached);
  cv::Mat(cv::min(heights, lower)).copyTo(sides.lower, reached);
  sides.at_step = near & (sides.upper - sides.lower > 0.5 * wall);
  return sides;
}

cv::Mat vote_for_sides(const cv::Mat& heights, const cv::Mat& known, const Sides& sides,
                       const std::vector<cv::Mat>& looks, const cv::Mat& where) {
  std::vector<cv::Mat> contrasts;
  contrasts.reserve(looks.size());
  for (const cv::Mat& look : looks) contrasts.push_back(contrast_of(look));
  cv::Mat voted = heights.clone();
  const float clear = kClearVote * float(looks.size());
  for (int row = 0; row < heights.rows; ++row)
    for (int column = 0; column < heights.cols; ++column) {
      if (!where.at<uchar>(row, column)) continue;
      const float upper = sides.upper.at<float>(row, column), lower = sides.lower.at<float>(row, column);
      const float middle = 0.5F * (upper + lower);
      float votes = 0;
      for (std::size_t i = 0; i < looks.size(); ++i)
        votes +=
            vote_at(heights, known, middle, looks[i], contrasts[i].at<float>(row, column), {column, row});
      float& here = voted.at<float>(row, column);
      if (here > middle && votes < -clear) here = lower;
      if (here <= middle && votes > clear) here = upper;
    }
  return voted;
}

void snap_to_edges(const NodeGrid& grid, const cv::Mat& known, double wall,
                   const std::vector<SweepView>& views, SweepPictures& pictures, RunContext& context,
                   cv::Mat& heights) {
  const cv::Rect whole({}, heights.size());
  std::vector<cv::Rect> tiles;
  for (int y = 0; y < whole.height; y += kSnapTileNodes)
    for (int x = 0; x < whole.width; x += kSnapTileNodes)
      tiles.push_back(cv::Rect(x, y, kSnapTileNodes, kSnapTileNodes) & whole);
  const cv::Mat before = heights.clone();
  constexpr std::int64_t kPeakBytes =
      64LL * (kSnapTileNodes + 2 * kSnapMarginNodes) * (kSnapTileNodes + 2 * kSnapMarginNodes);
  context.scheduler.for_each_frame(
      tiles.size(), kPeakBytes,
      [&](std::size_t i) {
        const cv::Rect outer =
            cv::Rect(tiles[i].x - kSnapMarginNodes, tiles[i].y - kSnapMarginNodes,
                     tiles[i].width + 2 * kSnapMarginNodes, tiles[i].height + 2 * kSnapMarginNodes) &
            whole;
        cv::Mat part = before(outer).clone();
        cv::Mat open(part.size(), CV_8UC1, cv::Scalar(255));
        std::vector<int> straightest;
        for (int pass = 0; pass < kPasses; ++pass) {
          const Sides sides = sides_of_steps(part, wall);
          open &= sides.at_step;
          if (cv::countNonZero(open) == 0) break;
          if (pass == 0) {
            straightest = choose_views(views, spots_of(grid, outer, part)).views;
            straightest.resize(std::min(straightest.size(), kLooks));
          }
          std::vector<cv::Mat> looks;
          looks.reserve(straightest.size());
          for (const int view : straightest)
            looks.push_back(look_at(grid, outer, views[std::size_t(view)], *pictures.of(view), sides.upper));
          const cv::Mat voted = vote_for_sides(part, known(outer), sides, looks, open);
          const cv::Mat changed = voted != part;
          part = voted;
          if (cv::countNonZero(changed) < kFewNodes) break;
          // Elsewhere all have the same neighbours as before and would vote the same.
          cv::dilate(changed, open, cv::Mat(2 * kReach + 1, 2 * kReach + 1, CV_8UC1, cv::Scalar(1)));
        }
        part(tiles[i] - outer.tl()).copyTo(heights(tiles[i]));
      },
      [](std::size_t, const std::optional<Fault>&) {});
}

}  // namespace lookdown::surface
