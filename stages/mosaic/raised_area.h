// A flat roof or deck drawn where it stands instead of where it leans to: its own plane inside its outline.
#pragma once

#include <opencv2/core.hpp>
#include <vector>

namespace lookdown::mosaic {

struct FrameView;

/// Heights and places in canvas pixels.
struct RaisedArea {
  double height_px = 0;              ///< above the mosaic's plane
  std::vector<cv::Point2d> outline;  ///< convex, seen from straight above
};

/// The view of the plane `height_px` above the mosaic's: what lies there at (x, y) the frame shows as if it
/// lay at nadir + ((x, y) - nadir) H / (H - h) on the ground. The raised areas of the view itself are left
/// out.
[[nodiscard]] FrameView lifted(const FrameView&, double height_px);

/// Ground that the area hides from the camera, its own footprint included; convex.
[[nodiscard]] std::vector<cv::Point2d> hidden_outline(const FrameView&, const RaisedArea&);

/// CV_8UC1 of `area`'s size, 255 inside the outline; `area` in canvas pixels.
[[nodiscard]] cv::Mat filled_outline(const std::vector<cv::Point2d>& outline, const cv::Rect& area);

/// Smallest rectangle of whole pixels round an outline.
[[nodiscard]] cv::Rect box_of(const std::vector<cv::Point2d>& outline);

}  // namespace lookdown::mosaic
