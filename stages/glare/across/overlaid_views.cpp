#include <Eigen/LU>
#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>

#include "stages/glare/across/view_comparison.h"
#include "stages/glare/picture/plane_math.h"

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

constexpr double kNowhere = -1e4;

// Where what the own frame shows lies in another one.
class Between {
 public:
  explicit Between(const PlacedCamera& other)
      : other_(other),
        other_from_mosaic_(other.mosaic_from_frame.inverse()),
        reach_px_(1.5 * std::hypot(other.camera.width_px, other.camera.height_px)) {}

  /// On the mosaic's plane.
  [[nodiscard]] Point2<StoredPx> by_plane(const Point2<MosaicPx>& at) const {
    return distorted(other_from_mosaic_ * at);
  }
  /// At a height of the world.
  [[nodiscard]] Point2<StoredPx> at_height(const Eigen::Vector3d& from, const Eigen::Vector3d& along,
                                           double height) const {
    const double distance = (height - from.z()) / along.z();
    if (!(along.z() < 0) || !(distance > 0)) return {kNowhere, kNowhere};
    double depth = 0;
    const auto seen = project(other_.pose, other_.camera, from + distance * along, &depth);
    return depth > 0 ? distorted(seen) : Point2<StoredPx>{kNowhere, kNowhere};
  }

 private:
  // Far outside the frame the distortion polynomial folds back; such points count as not seen.
  [[nodiscard]] Point2<StoredPx> distorted(const Point2<UndistortedPx>& p) const {
    if (!(std::hypot(p.x - other_.camera.cx_px, p.y - other_.camera.cy_px) < reach_px_))
      return {kNowhere, kNowhere};
    return other_.camera.distort(p);
  }

  const PlacedCamera& other_;
  Homography<UndistortedPx, MosaicPx> other_from_mosaic_;
  double reach_px_;
};

// Cells of `heights` fill the frame; nodes begin at its first pixel and go beyond its last.
cv::Mat heights_at_nodes(const cv::Mat& heights, const SightGrid& own) {
  const float across = static_cast<float>(heights.cols) / static_cast<float>(own.size.width),
              down = static_cast<float>(heights.rows) / static_cast<float>(own.size.height),
              step = static_cast<float>(own.step_px);
  const cv::Matx23f pick(across * step, 0, across / 2 - 0.5f, 0, down * step, down / 2 - 0.5f);
  cv::Mat out;
  cv::warpAffine(heights, out, pick, own.nodes, cv::INTER_LINEAR | cv::WARP_INVERSE_MAP,
                 cv::BORDER_REPLICATE);
  return out;
}

// Where the nodes of the own frame lie in a picture of `other_size` of the other one, CV_32FC2.
cv::Mat grid_between(const SightGrid& own, const PlacedCamera& other_place, cv::Size other_size,
                     const cv::Mat& heights) {
  const double other_scale = static_cast<double>(other_place.camera.width_px) / other_size.width;
  const Between between(other_place);
  const cv::Mat at_nodes = heights.empty() ? cv::Mat() : heights_at_nodes(heights, own);
  cv::Mat grid(own.nodes, CV_32FC2);
  std::size_t node = 0;
  for (int row = 0; row < grid.rows; ++row)
    for (int column = 0; column < grid.cols; ++column, ++node) {
      const Point2<StoredPx> there =
          at_nodes.empty() ? between.by_plane(own.on_plane[node])
                           : between.at_height(own.centre, own.rays[node], at_nodes.at<float>(row, column));
      grid.at<cv::Vec2f>(row, column) = {static_cast<float>((there.x + 0.5) / other_scale - 0.5),
                                         static_cast<float>((there.y + 0.5) / other_scale - 0.5)};
    }
  return grid;
}

// Linear between the nodes, for every pixel of the own picture.
cv::Mat stretched(const cv::Mat& grid, const SightGrid& own) {
  cv::Mat map(own.size, CV_32FC2);
  const float share = 1.0f / static_cast<float>(own.step_px);
  for (int y = 0; y < map.rows; ++y) {
    const auto *above = grid.ptr<cv::Vec2f>(y / own.step_px),
               *below = grid.ptr<cv::Vec2f>(y / own.step_px + 1);
    const float down = share * static_cast<float>(y % own.step_px);
    auto* out = map.ptr<cv::Vec2f>(y);
    for (int left = 0; left < map.cols; left += own.step_px) {
      const int node = left / own.step_px;
      cv::Vec2f at = above[node] + down * (below[node] - above[node]);
      const cv::Vec2f end = above[node + 1] + down * (below[node + 1] - above[node + 1]),
                      step = share * (end - at);
      for (int x = left; x < std::min(left + own.step_px, map.cols); ++x, at += step) out[x] = at;
    }
  }
  return map;
}

}  // namespace

SightGrid::SightGrid(const PlacedCamera& place, cv::Size picture, int step)
    : size(picture),
      nodes(picture.width / step + 2, picture.height / step + 2),
      step_px(step),
      centre(place.pose.centre) {
  const double scale = static_cast<double>(place.camera.width_px) / size.width;
  for (int row = 0; row < nodes.height; ++row)
    for (int column = 0; column < nodes.width; ++column) {
      const Point2<UndistortedPx> at =
          place.camera.undistort({(column * step + 0.5) * scale - 0.5, (row * step + 0.5) * scale - 0.5});
      on_plane.push_back(place.mosaic_from_frame * at);
      rays.emplace_back(place.pose.world_from_camera * place.camera.ray(at));
    }
}

cv::Mat map_to_other(const SightGrid& own, const PlacedCamera& other_place, cv::Size other_size,
                     const cv::Mat& heights) {
  return stretched(grid_between(own, other_place, other_size, heights), own);
}

OverlaidView overlay(const SearchedFrame& other, const PlacedCamera& other_place, const SightGrid& own,
                     const cv::Mat& heights) {
  const cv::Mat map = map_to_other(own, other_place, other.bgr.size(), heights);
  cv::Mat glares = other.glint, all, laid;
  if (!other.field.empty()) glares = cv::max(glares, at_size(other.field, other.bgr.size()));
  const cv::Mat inside(other.bgr.size(), CV_8UC1, cv::Scalar(255));
  cv::merge(std::vector<cv::Mat>{luma_of(other.bgr), other.water, glares, inside}, all);
  cv::remap(all, laid, map, {}, cv::INTER_LINEAR, cv::BORDER_CONSTANT);
  std::vector<cv::Mat> planes;
  cv::split(laid, planes);
  return {planes[0], planes[1], planes[2], planes[3] == 255};
}

namespace {

// Tiles that the other view looks at whole, by the grid that lays it over the own frame.
cv::Mat tiles_inside(const cv::Mat& grid, const SightGrid& own, cv::Size other_size) {
  const int nodes = kDetailTilePx / own.step_px;
  const cv::Rect2f inside(1, 1, static_cast<float>(other_size.width - 2),
                          static_cast<float>(other_size.height - 2));
  cv::Mat seen = cv::Mat::zeros(own.size.height / kDetailTilePx, own.size.width / kDetailTilePx, CV_8UC1);
  for (int row = 0; row < seen.rows; ++row)
    for (int column = 0; column < seen.cols; ++column) {
      bool all = true;
      for (const int y : {0, nodes})
        for (const int x : {0, nodes})
          all = all && inside.contains(cv::Point2f(grid.at<cv::Vec2f>(row * nodes + y, column * nodes + x)));
      if (all) seen.at<uchar>(row, column) = 255;
    }
  return seen;
}

}  // namespace

LaidDetail lay_detail(const Detail& other, const PlacedCamera& other_place, const SightGrid& own,
                      const cv::Mat& heights, const cv::Mat& wanted) {
  LaidDetail laid;
  if (other.power.empty()) return laid;
  const cv::Mat grid = grid_between(own, other_place, other.even.size(), heights);
  laid.seen = tiles_inside(grid, own, other.even.size());
  if (!wanted.empty() && cv::countNonZero(laid.seen & wanted) == 0) return laid;
  cv::remap(other.even, laid.even, stretched(grid, own), {}, cv::INTER_LINEAR, cv::BORDER_CONSTANT,
            cv::Scalar(128));
  return laid;
}

DetailComparison compare_detail(const SearchedFrame& own, const PlacedCamera& own_place,
                                const std::vector<PlacedView>& others, const cv::Mat& heights) {
  DetailComparison comparison(own.detail);
  if (own.detail.power.empty()) return comparison;
  const SightGrid grid(own_place, own.detail.even.size(), kDetailTilePx);
  for (const PlacedView& other : others) {
    const cv::Mat open = comparison.open();
    if (open.empty()) break;
    comparison.add(lay_detail(other.frame->detail, *other.place, grid, heights, open));
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
