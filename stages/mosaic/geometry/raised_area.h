// A flat roof or deck above the mosaic's plane, and where frames show it.
#pragma once

#include <opencv2/core.hpp>
#include <vector>

namespace lookdown::mosaic {

struct FrameView;

/// Heights and places in canvas pixels.
struct RaisedArea {
  double height_px = 0;              ///< above the mosaic's plane, below it when negative
  std::vector<cv::Point2d> outline;  ///< simple, seen from straight above
};

/// Where on the mosaic the view, laid on the mosaic's plane, shows what lies `height_px` above `plan`: relief
/// displacement, nadir + (plan - nadir) H / (H - h), in every handbook of photogrammetry.
[[nodiscard]] cv::Point2d leaned(const FrameView&, double height_px, const cv::Point2d& plan);
/// And back.
[[nodiscard]] cv::Point2d plan_of(const FrameView&, double height_px, const cv::Point2d& shown);

/// Ground that the area hides from the camera, its own footprint included; its convex hull.
[[nodiscard]] std::vector<cv::Point2d> hidden_outline(const FrameView&, const RaisedArea&);
/// True when the view shows all of the area down to its foot.
[[nodiscard]] bool sees_whole(const FrameView&, const RaisedArea&);

/// CV_8UC1 of `area`'s size, 255 inside the outline; both in the same units.
[[nodiscard]] cv::Mat filled_outline(const std::vector<cv::Point2d>& outline, const cv::Rect& area);

/// Smallest rectangle of whole pixels round an outline.
[[nodiscard]] cv::Rect box_of(const std::vector<cv::Point2d>& outline);

}  // namespace lookdown::mosaic
