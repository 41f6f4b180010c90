#include "stages/glare/across/raised_planes.h"

#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>
#include <vector>

namespace lookdown::glare {
namespace {

// A raised point shows on the ground plane away from the point below the camera: relief displacement,
// nadir + (plan - nadir) H / (H - h) (ASPRS, Manual of Photogrammetry; from memory).
Point2<MosaicPx> leaned(const Point2<MosaicPx>& plan, const Point2<MosaicPx>& nadir, double stretch) {
  return {nadir.x + (plan.x - nadir.x) * stretch, nadir.y + (plan.y - nadir.y) * stretch};
}

}  // namespace

cv::Mat raised_planes_in(const FlightPlacement& placement, const PlacedCamera& place, cv::Size size) {
  // Outlines go round the marks of a plane, so that a bare edge lies outside.
  constexpr double kEdgeShare = 0.06;
  cv::Mat mask = cv::Mat::zeros(size, CV_8UC1);
  const double scale = static_cast<double>(size.width) / place.camera.width_px;
  const Point2<MosaicPx> nadir =
      place.mosaic_from_frame * (ground_from_frame(place.pose, place.camera).inverse() *
                                 Point2<Ground>{place.pose.centre.x(), place.pose.centre.y()});
  const Homography<UndistortedPx, MosaicPx> frame_from_mosaic = place.mosaic_from_frame.inverse();
  const double side = frame_from_mosaic.depth(place.mosaic_from_frame *
                                              Point2<UndistortedPx>{place.camera.cx_px, place.camera.cy_px});
  for (const RaisedPlane& plane : placement.raised_planes) {
    if (plane.height <= 0 || plane.height >= place.pose.centre.z()) continue;
    const double stretch = place.pose.centre.z() / (place.pose.centre.z() - plane.height);
    for (const auto& outline : plane.outlines_px) {
      std::vector<cv::Point2f> corners;
      for (const auto& corner : outline) {
        const Point2<MosaicPx> foot{corner[0], corner[1]};
        for (const Point2<MosaicPx>& shown : {foot, leaned(foot, nadir, stretch)}) {
          if (frame_from_mosaic.depth(shown) * side <= 0) continue;
          const Point2<UndistortedPx> seen = frame_from_mosaic * shown;
          corners.emplace_back(static_cast<float>(seen.x * scale), static_cast<float>(seen.y * scale));
        }
      }
      if (corners.size() < 3) continue;
      std::vector<cv::Point2f> hull;
      cv::convexHull(corners, hull);
      cv::Point2f middle(0, 0);
      for (const cv::Point2f& corner : hull) middle += corner * (1.0f / static_cast<float>(hull.size()));
      std::vector<cv::Point> wide;
      for (const cv::Point2f& corner : hull) {
        const cv::Point2f out = middle + (corner - middle) * static_cast<float>(1 + 2 * kEdgeShare);
        wide.emplace_back(cv::saturate_cast<int>(std::clamp(out.x, -1e4f, 1e4f)),
                          cv::saturate_cast<int>(std::clamp(out.y, -1e4f, 1e4f)));
      }
      cv::fillConvexPoly(mask, wide, cv::Scalar(255));
    }
  }
  return mask;
}

}  // namespace lookdown::glare
