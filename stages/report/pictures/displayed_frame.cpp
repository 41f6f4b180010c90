#include "stages/report/pictures/displayed_frame.h"

#include <cmath>
#include <numbers>
#include <opencv2/core.hpp>

#include "pipeline/base/angles.h"

namespace lookdown::report {
namespace {

/// Shares of the stored frame to shares of the displayed frame.
DisplayedShare turned(double u, double v, int orientation) {
  switch (orientation) {
    case 2:
      return {1 - u, v};
    case 3:
      return {1 - u, 1 - v};
    case 4:
      return {u, 1 - v};
    case 5:
      return {v, u};
    case 6:
      return {1 - v, u};
    case 7:
      return {1 - v, 1 - u};
    case 8:
      return {v, 1 - u};
    default:
      return {u, v};
  }
}

}  // namespace

DisplayedShare DisplayedFrame::share(const Point2<StoredPx>& stored) const {
  return turned((stored.x + 0.5) / width_px_, (stored.y + 0.5) / height_px_, orientation_);
}

std::optional<DisplayedShare> DisplayedFrame::share(const Point2<UndistortedPx>& undistorted,
                                                    const Camera& camera) const {
  const double radius_px = std::hypot(undistorted.x - camera.cx_px, undistorted.y - camera.cy_px);
  if (!std::isfinite(radius_px)) return std::nullopt;
  if (!camera.has_distortion()) return share(Point2<StoredPx>{undistorted.x, undistorted.y});
  if (radius_px > camera.monotonic_radius_px()) return std::nullopt;
  return share(camera.distort(undistorted));
}

double DisplayedFrame::axis_deg(double stored_deg) const {
  const double angle = stored_deg * kDegree;
  const DisplayedShare from = turned(0, 0, orientation_);
  const DisplayedShare to = turned(std::cos(angle), -std::sin(angle), orientation_);
  const double turned_deg = std::atan2(from.y - to.y, to.x - from.x) / kDegree;
  return std::fmod(turned_deg + 360, 180);
}

cv::Mat turned_for_display(const cv::Mat& stored, int orientation) {
  cv::Mat turned = stored;
  if (orientation >= 5 && orientation <= 8) cv::transpose(stored, turned);
  // What is left after the transposition is a mirroring along one axis or both: none for 1 and 5. Into a new
  // picture: the caller's pixels must stay as they are.
  constexpr int kNone = 2;
  int mirrored = kNone;
  if (orientation == 2 || orientation == 6) mirrored = 1;
  if (orientation == 3 || orientation == 7) mirrored = -1;
  if (orientation == 4 || orientation == 8) mirrored = 0;
  if (mirrored == kNone) return turned;
  cv::Mat shown;
  cv::flip(turned, shown, mirrored);
  return shown;
}

}  // namespace lookdown::report
