#include <Eigen/LU>
#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>

#include "stages/glare/across/view_comparison.h"

namespace lookdown::glare {
namespace {

std::vector<cv::Point2f> outline_on_mosaic(const PlacedCamera& frame, bool& usable) {
  std::vector<cv::Point2f> outline;
  const double right = frame.camera.width_px - 1, bottom = frame.camera.height_px - 1;
  const Point2<StoredPx> corners[] = {{0, 0}, {right, 0}, {right, bottom}, {0, bottom}};
  const double side = frame.mosaic_from_frame.depth({frame.camera.cx_px, frame.camera.cy_px});
  for (const auto& corner : corners) {
    const Point2<UndistortedPx> p = frame.camera.undistort(corner);
    usable = usable && frame.mosaic_from_frame.depth(p) * side > 0;
    const Point2<MosaicPx> q = frame.mosaic_from_frame * p;
    outline.emplace_back(static_cast<float>(q.x), static_cast<float>(q.y));
  }
  usable = usable && cv::isContourConvex(outline);
  return outline;
}

constexpr int kGridStepPx = 8;

constexpr double kNowhere = -1e4;

// Where what the own frame shows lies in another one.
class Between {
 public:
  Between(const PlacedCamera& own, const PlacedCamera& other)
      : own_(own),
        other_(other),
        other_from_mosaic_(other.mosaic_from_frame.inverse()),
        reach_px_(1.5 * std::hypot(other.camera.width_px, other.camera.height_px)) {}

  /// On the mosaic's plane.
  [[nodiscard]] Point2<StoredPx> by_plane(const Point2<StoredPx>& at) const {
    return distorted(other_from_mosaic_ * (own_.mosaic_from_frame * own_.camera.undistort(at)));
  }
  /// At a height of the world.
  [[nodiscard]] Point2<StoredPx> at_height(const Point2<StoredPx>& at, double height) const {
    const Eigen::Vector3d along = own_.pose.world_from_camera * own_.camera.ray(own_.camera.undistort(at));
    const double distance = (height - own_.pose.centre.z()) / along.z();
    if (!(along.z() < 0) || !(distance > 0)) return {kNowhere, kNowhere};
    double depth = 0;
    const auto seen = project(other_.pose, other_.camera, own_.pose.centre + distance * along, &depth);
    return depth > 0 ? distorted(seen) : Point2<StoredPx>{kNowhere, kNowhere};
  }

 private:
  // Far outside the frame the distortion polynomial folds back; such points count as not seen.
  [[nodiscard]] Point2<StoredPx> distorted(const Point2<UndistortedPx>& p) const {
    if (!(std::hypot(p.x - other_.camera.cx_px, p.y - other_.camera.cy_px) < reach_px_))
      return {kNowhere, kNowhere};
    return other_.camera.distort(p);
  }

  const PlacedCamera &own_, &other_;
  Homography<UndistortedPx, MosaicPx> other_from_mosaic_;
  double reach_px_;
};

// Cells of `heights` fill the frame; nodes begin at its first pixel and go beyond its last.
cv::Mat heights_at_nodes(const cv::Mat& heights, cv::Size frame, cv::Size nodes) {
  const float across = static_cast<float>(heights.cols) / static_cast<float>(frame.width),
              down = static_cast<float>(heights.rows) / static_cast<float>(frame.height);
  const cv::Matx23f pick(across * kGridStepPx, 0, across / 2 - 0.5f, 0, down * kGridStepPx, down / 2 - 0.5f);
  cv::Mat out;
  cv::warpAffine(heights, out, pick, nodes, cv::INTER_LINEAR | cv::WARP_INVERSE_MAP, cv::BORDER_REPLICATE);
  return out;
}

// Where the pixels of the own frame lie in the other one, at steps of some pixels: the map is smooth.
cv::Mat grid_between(const PlacedCamera& own_place, cv::Size own_size, const PlacedCamera& other_place,
                     cv::Size other_size, const cv::Mat& heights) {
  const int columns = own_size.width / kGridStepPx + 2, rows = own_size.height / kGridStepPx + 2;
  const double own_scale = static_cast<double>(own_place.camera.width_px) / own_size.width;
  const double other_scale = static_cast<double>(other_place.camera.width_px) / other_size.width;
  const Between between(own_place, other_place);
  const cv::Mat at_nodes = heights.empty() ? cv::Mat() : heights_at_nodes(heights, own_size, {columns, rows});
  cv::Mat grid(rows, columns, CV_32FC2);
  for (int row = 0; row < rows; ++row)
    for (int column = 0; column < columns; ++column) {
      const Point2<StoredPx> stored{(column * kGridStepPx + 0.5) * own_scale - 0.5,
                                    (row * kGridStepPx + 0.5) * own_scale - 0.5};
      const Point2<StoredPx> there = at_nodes.empty()
                                         ? between.by_plane(stored)
                                         : between.at_height(stored, at_nodes.at<float>(row, column));
      grid.at<cv::Vec2f>(row, column) = {static_cast<float>((there.x + 0.5) / other_scale - 0.5),
                                         static_cast<float>((there.y + 0.5) / other_scale - 0.5)};
    }
  return grid;
}

cv::Mat stretched(const cv::Mat& grid, cv::Size size) {
  cv::Mat map;
  const cv::Matx23f pick(1.0f / kGridStepPx, 0, 0, 0, 1.0f / kGridStepPx, 0);
  cv::warpAffine(grid, map, pick, size, cv::INTER_LINEAR | cv::WARP_INVERSE_MAP, cv::BORDER_REPLICATE);
  return map;
}

}  // namespace

OverlaidView overlay(const SearchedFrame& other, const PlacedCamera& other_place,
                     const PlacedCamera& own_place, cv::Size own_size, const cv::Mat& heights) {
  const cv::Mat map =
      stretched(grid_between(own_place, own_size, other_place, other.bgr.size(), heights), own_size);
  OverlaidView view;
  const cv::Mat inside(other.bgr.size(), CV_8UC1, cv::Scalar(255));
  cv::remap(other.bgr, view.bgr, map, {}, cv::INTER_LINEAR, cv::BORDER_CONSTANT);
  cv::remap(other.water, view.water, map, {}, cv::INTER_LINEAR, cv::BORDER_CONSTANT);
  cv::remap(other.glint, view.glint, map, {}, cv::INTER_LINEAR, cv::BORDER_CONSTANT);
  cv::remap(inside, view.seen, map, {}, cv::INTER_NEAREST, cv::BORDER_CONSTANT);
  if (!other.field.empty()) {
    cv::Mat field;
    cv::resize(other.field, field, other.bgr.size(), 0, 0, cv::INTER_LINEAR);
    cv::remap(field, view.field, map, {}, cv::INTER_NEAREST, cv::BORDER_CONSTANT);
  }
  return view;
}

namespace {

// Tiles that the other view looks at whole, by the grid that lays it over the own frame.
cv::Mat tiles_inside(const cv::Mat& grid, cv::Size own_size, cv::Size other_size) {
  constexpr int kNodes = kDetailTilePx / kGridStepPx;
  const cv::Rect2f inside(1, 1, static_cast<float>(other_size.width - 2),
                          static_cast<float>(other_size.height - 2));
  cv::Mat seen = cv::Mat::zeros(own_size.height / kDetailTilePx, own_size.width / kDetailTilePx, CV_8UC1);
  for (int row = 0; row < seen.rows; ++row)
    for (int column = 0; column < seen.cols; ++column) {
      bool all = true;
      for (const int y : {0, kNodes})
        for (const int x : {0, kNodes})
          all =
              all && inside.contains(cv::Point2f(grid.at<cv::Vec2f>(row * kNodes + y, column * kNodes + x)));
      if (all) seen.at<uchar>(row, column) = 255;
    }
  return seen;
}

}  // namespace

LaidDetail lay_detail(const Detail& other, const PlacedCamera& other_place, const PlacedCamera& own_place,
                      cv::Size own_size, const cv::Mat& heights, const cv::Mat& wanted) {
  LaidDetail laid;
  if (other.power.empty()) return laid;
  const cv::Mat grid = grid_between(own_place, own_size, other_place, other.even.size(), heights);
  laid.seen = tiles_inside(grid, own_size, other.even.size());
  if (!wanted.empty() && cv::countNonZero(laid.seen & wanted) == 0) return laid;
  cv::remap(other.even, laid.even, stretched(grid, own_size), {}, cv::INTER_LINEAR, cv::BORDER_CONSTANT,
            cv::Scalar(128));
  return laid;
}

DetailComparison compare_detail(const SearchedFrame& own, const PlacedCamera& own_place,
                                const std::vector<PlacedView>& others, const cv::Mat& heights) {
  DetailComparison comparison(own.detail);
  for (const PlacedView& other : others) {
    const cv::Mat open = comparison.open();
    if (open.empty()) break;
    comparison.add(
        lay_detail(other.frame->detail, *other.place, own_place, own.detail.even.size(), heights, open));
  }
  return comparison;
}

double covered_share(const PlacedCamera& a, const PlacedCamera& b) {
  bool usable = true;
  const auto outline_a = outline_on_mosaic(a, usable), outline_b = outline_on_mosaic(b, usable);
  if (!usable) return 0;
  std::vector<cv::Point2f> common;
  const double area = cv::contourArea(outline_a);
  return area > 0 ? cv::intersectConvexConvex(outline_a, outline_b, common) / area : 0;
}

std::vector<PlacedCamera> placed_cameras(const FlightRecord& flight, const std::vector<int>& members) {
  std::vector<PlacedCamera> places;
  for (const int index : members) {
    const FramePlacement& placement = flight.frames[index].placement;
    places.push_back({placement.camera, placement.mosaic_from_frame, placement.pose});
  }
  return places;
}

std::vector<std::vector<int>> choose_views(const std::vector<PlacedCamera>& frames, int most) {
  std::vector<std::vector<int>> chosen(frames.size());
  for (std::size_t i = 0; i < frames.size(); ++i) {
    std::vector<std::pair<double, int>> worth;
    for (std::size_t j = 0; j < frames.size(); ++j) {
      if (i == j) continue;
      const double share = covered_share(frames[i], frames[j]);
      // A near-repeat sees the same glare at the same place; half the frame in common tells most.
      if (share > 0.05) worth.emplace_back(share > 0.9 ? share - 0.6 : share, static_cast<int>(j));
    }
    std::sort(worth.begin(), worth.end(), [](const auto& a, const auto& b) {
      return a.first != b.first ? a.first > b.first : a.second < b.second;
    });
    for (std::size_t k = 0; k < worth.size() && k < static_cast<std::size_t>(most); ++k)
      chosen[i].push_back(worth[k].second);
  }
  return chosen;
}

}  // namespace lookdown::glare
