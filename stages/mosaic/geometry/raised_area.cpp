#include "stages/mosaic/geometry/raised_area.h"

#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>

#include "stages/mosaic/geometry/frame_view.h"

namespace lookdown::mosaic {

cv::Point2d leaned(const FrameView& view, double height_px, const cv::Point2d& plan) {
  const cv::Point2d nadir(view.nadir_x_px, view.nadir_y_px);
  return nadir + (plan - nadir) * (view.height_px / (view.height_px - height_px));
}

cv::Point2d plan_of(const FrameView& view, double height_px, const cv::Point2d& shown) {
  const cv::Point2d nadir(view.nadir_x_px, view.nadir_y_px);
  return nadir + (shown - nadir) * ((view.height_px - height_px) / view.height_px);
}

std::vector<cv::Point2d> hidden_outline(const FrameView& view, const RaisedArea& area) {
  std::vector<cv::Point2f> corners, hull;
  for (const cv::Point2d& corner : area.outline) {
    corners.emplace_back(corner);
    corners.emplace_back(leaned(view, area.height_px, corner));
  }
  cv::convexHull(corners, hull);
  return {hull.begin(), hull.end()};
}

bool sees_whole(const FrameView& view, const RaisedArea& area) {
  if (view.height_px <= area.height_px) return false;
  const std::vector<cv::Point2d> needed = hidden_outline(view, area);
  return std::all_of(needed.begin(), needed.end(),
                     [&](const cv::Point2d& corner) { return view.sight(corner.x, corner.y).usable; });
}

cv::Mat filled_outline(const std::vector<cv::Point2d>& outline, const cv::Rect& area) {
  cv::Mat mask(area.size(), CV_8UC1, cv::Scalar(0));
  constexpr int kShift = 4;  // sixteenths of a pixel
  std::vector<cv::Point> corners;
  corners.reserve(outline.size());
  for (const cv::Point2d& corner : outline)
    corners.emplace_back(static_cast<int>(std::lround((corner.x - area.x) * (1 << kShift))),
                         static_cast<int>(std::lround((corner.y - area.y) * (1 << kShift))));
  cv::fillPoly(mask, std::vector<std::vector<cv::Point>>{corners}, cv::Scalar(255), cv::LINE_8, kShift);
  return mask;
}

cv::Rect box_of(const std::vector<cv::Point2d>& outline) {
  double left = 1e30, top = 1e30, right = -1e30, bottom = -1e30;
  for (const cv::Point2d& corner : outline) {
    left = std::min(left, corner.x), right = std::max(right, corner.x);
    top = std::min(top, corner.y), bottom = std::max(bottom, corner.y);
  }
  return {cv::Point(static_cast<int>(std::floor(left)), static_cast<int>(std::floor(top))),
          cv::Point(static_cast<int>(std::ceil(right)) + 1, static_cast<int>(std::ceil(bottom)) + 1)};
}

}  // namespace lookdown::mosaic
