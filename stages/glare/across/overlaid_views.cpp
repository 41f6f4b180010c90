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

// Where the pixels of the own frame lie in the other one, // at steps of some pixels: the map is smooth.
cv::Mat grid_between(const PlacedCamera& own_place, cv::Size own_size, const PlacedCamera& other_place,
                     cv::Size other_size) {
  const int columns = own_size.width / kGridStepPx + 2, rows = own_size.height / kGridStepPx + 2;
  const double own_scale = static_cast<double>(own_place.camera.width_px) / own_size.width;
  const double other_scale = static_cast<double>(other_place.camera.width_px) / other_size.width;
  const Homography<UndistortedPx, MosaicPx> frame_from_mosaic = other_place.mosaic_from_frame.inverse();
  const double reach = 1.5 * std::hypot(other_place.camera.width_px, other_place.camera.height_px);
  cv::Mat grid(rows, columns, CV_32FC2);
  for (int row = 0; row < rows; ++row)
    for (int column = 0; column < columns; ++column) {
      const Point2<StoredPx> stored{(column * kGridStepPx + 0.5) * own_scale - 0.5,
                                    (row * kGridStepPx + 0.5) * own_scale - 0.5};
      const Point2<MosaicPx> on_mosaic = own_place.mosaic_from_frame * own_place.camera.undistort(stored);
      const Point2<UndistortedPx> undistorted = frame_from_mosaic * on_mosaic;
      Point2<StoredPx> there{-1e4, -1e4};
      // Far outside the frame the distortion polynomial folds back; such points count as not seen.
      if (std::hypot(undistorted.x - other_place.camera.cx_px, undistorted.y - other_place.camera.cy_px) <
          reach)
        there = other_place.camera.distort(undistorted);
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
                     const PlacedCamera& own_place, cv::Size own_size) {
  const cv::Mat map = stretched(grid_between(own_place, own_size, other_place, other.bgr.size()), own_size);
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

LaidDetail lay_detail(const Detail& other, const PlacedCamera& other_place, const PlacedCamera& own_place,
                      cv::Size own_size) {
  LaidDetail laid;
  if (other.power.empty()) return laid;
  const cv::Mat grid = grid_between(own_place, own_size, other_place, other.even.size());
  cv::remap(other.even, laid.even, stretched(grid, own_size), {}, cv::INTER_LINEAR, cv::BORDER_CONSTANT,
            cv::Scalar(128));
  const cv::Rect2f inside(1, 1, static_cast<float>(other.even.cols - 2),
                          static_cast<float>(other.even.rows - 2));
  laid.seen = cv::Mat::zeros(own_size.height / kDetailTilePx, own_size.width / kDetailTilePx, CV_8UC1);
  for (int row = 0; row < laid.seen.rows; ++row)
    for (int column = 0; column < laid.seen.cols; ++column) {
      bool all = true;
      for (const int y : {0, kDetailTilePx / kGridStepPx})
        for (const int x : {0, kDetailTilePx / kGridStepPx})
          all = all && inside.contains(cv::Point2f(grid.at<cv::Vec2f>(
                           row * kDetailTilePx / kGridStepPx + y, column * kDetailTilePx / kGridStepPx + x)));
      if (all) laid.seen.at<uchar>(row, column) = 255;
    }
  return laid;
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
