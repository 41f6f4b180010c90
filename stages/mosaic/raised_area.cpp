#include "stages/mosaic/raised_area.h"

#include <cmath>
#include <opencv2/imgproc.hpp>

#include "stages/mosaic/frame_view.h"

namespace lookdown::mosaic {

FrameView lifted(const FrameView& view, double height_px) {
  const double factor = view.height_px / (view.height_px - height_px);
  Eigen::Matrix3d ground_from_raised;
  ground_from_raised << factor, 0, view.nadir_x_px * (1 - factor), 0, factor, view.nadir_y_px * (1 - factor),
      0, 0, 1;
  FrameView raised = view;
  raised.frame_from_mosaic = view.frame_from_mosaic * ground_from_raised;
  raised.mosaic_from_frame = ground_from_raised.inverse() * view.mosaic_from_frame;
  raised.height_px = view.height_px - height_px;
  raised.raised_areas.clear();
  return raised;
}

std::vector<cv::Point2d> hidden_outline(const FrameView& view, const RaisedArea& area) {
  const double factor = view.height_px / (view.height_px - area.height_px);
  const cv::Point2d nadir(view.nadir_x_px, view.nadir_y_px);
  std::vector<cv::Point2f> corners, hull;
  for (const cv::Point2d& corner : area.outline) {
    corners.emplace_back(corner);
    corners.emplace_back(nadir + (corner - nadir) * factor);
  }
  cv::convexHull(corners, hull);
  return {hull.begin(), hull.end()};
}

cv::Mat filled_outline(const std::vector<cv::Point2d>& outline, const cv::Rect& area) {
  cv::Mat mask(area.size(), CV_8UC1, cv::Scalar(0));
  constexpr int kShift = 4;  // sixteenths of a pixel
  std::vector<cv::Point> corners;
  for (const cv::Point2d& corner : outline)
    corners.emplace_back(static_cast<int>(std::lround((corner.x - area.x) * (1 << kShift))),
                         static_cast<int>(std::lround((corner.y - area.y) * (1 << kShift))));
  cv::fillConvexPoly(mask, corners, cv::Scalar(255), cv::LINE_8, kShift);
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
