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

}  // namespace

OverlaidView overlay(const SearchedFrame& other, const PlacedCamera& other_place,
                     const PlacedCamera& own_place, cv::Size own_size) {
  // The map is smooth: it is computed on a coarse grid and stretched.
  constexpr int kStep = 8;
  const int columns = own_size.width / kStep + 2, rows = own_size.height / kStep + 2;
  const double own_scale = static_cast<double>(own_place.camera.width_px) / own_size.width;
  const double other_scale = static_cast<double>(other_place.camera.width_px) / other.bgr.cols;
  const Homography<UndistortedPx, MosaicPx> frame_from_mosaic = other_place.mosaic_from_frame.inverse();
  const double reach = 1.5 * std::hypot(other_place.camera.width_px, other_place.camera.height_px);
  cv::Mat grid(rows, columns, CV_32FC2);
  for (int row = 0; row < rows; ++row)
    for (int column = 0; column < columns; ++column) {
      const Point2<StoredPx> stored{(column * kStep + 0.5) * own_scale - 0.5,
                                    (row * kStep + 0.5) * own_scale - 0.5};
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
  cv::Mat stretched, map;
  const cv::Matx23f pick(1.0f / kStep, 0, 0, 0, 1.0f / kStep, 0);
  cv::warpAffine(grid, map, pick, own_size, cv::INTER_LINEAR | cv::WARP_INVERSE_MAP, cv::BORDER_REPLICATE);

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
