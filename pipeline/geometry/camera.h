// The camera: a rectilinear or a fisheye lens with Brown distortion, in pixels of the frame as stored, and
// where each number came from.
#pragma once

#include <Eigen/Core>
#include <optional>
#include <string>
#include <vector>

#include "pipeline/geometry/pixel_spaces.h"

namespace lookdown {

/// How far from the middle of the picture a lens shows what lies an angle off its axis, before distortion:
/// by the tangent of the angle, as a pinhole does, or by the angle itself, as fisheye lenses do.
enum class Projection { rectilinear, equidistant };

/// "rectilinear" or "equidistant", as in the record.
[[nodiscard]] const char* word(Projection);
/// Empty for any other text.
[[nodiscard]] std::optional<Projection> projection_from_word(const std::string&);

/// Focal length and principal point in pixels, projection, Brown distortion in OpenCV's order (k1, k2, p1,
/// p2, k3); of an equidistant lens they count in angles, as in OpenCV's cv::fisheye. Valid for a frame of
/// width_px x height_px as stored; `scaled` gives the camera of a resized copy. Undistorted pixels are those
/// of a rectilinear lens always.
struct Camera {
  int width_px = 0;
  int height_px = 0;
  double fx_px = 0;
  double fy_px = 0;
  double cx_px = 0;
  double cy_px = 0;
  Projection projection = Projection::rectilinear;
  double k1 = 0;
  double k2 = 0;
  double p1 = 0;
  double p2 = 0;
  double k3 = 0;
  std::string focal_from;        ///< "calibration file", "lens database", "Exif focal plane", "Exif 35 mm",
                                 ///< "adjustment", "assumed"
  std::string distortion_from;   ///< the same words, or "none"
  double focal_sigma_share = 0;  ///< standard deviation of the focal length as a share of it; 0 = not known

  /// False where stored and undistorted pixels are the same.
  [[nodiscard]] bool has_distortion() const {
    return projection != Projection::rectilinear || k1 != 0 || k2 != 0 || p1 != 0 || p2 != 0 || k3 != 0;
  }
  /// [fx 0 cx; 0 fy cy; 0 0 1].
  [[nodiscard]] Eigen::Matrix3d matrix() const;
  /// Camera of a copy resized by `factor` (0.5 = half size); pixel centres are kept: x' = (x + 0.5) factor -
  /// 0.5.
  [[nodiscard]] Camera scaled(double factor) const;
  /// Removes the lens distortion by fixed-point iteration with a Newton fallback; accurate to 1e-6 px where
  /// the distortion is invertible. Brown (1971), as in OpenCV's calib3d.
  [[nodiscard]] Point2<UndistortedPx> undistort(const Point2<StoredPx>& p) const;
  /// Puts the lens distortion on.
  [[nodiscard]] Point2<StoredPx> distort(const Point2<UndistortedPx>& p) const;
  /// By how much less than at its centre the lens magnifies at `tan_off_axis`, tangent of the angle off its
  /// axis (0 or more), in the direction in which it does so least: a ratio, 1 without distortion, 0 or less
  /// where the model has folded. Along the radius that is d(r radial(r))/dr = 1 + 3 k1 r^2 + 5 k2 r^4 + 7 k3
  /// r^6, across it radial(r); radial(r) of Brown (1971) as in OpenCV's calib3d, its tangential terms left
  /// out. Of an equidistant lens r is the angle, times its own share: cos^2 along, r / tan r across.
  [[nodiscard]] double magnification(double tan_off_axis) const;
  /// Radius (undistorted pixels from the principal point) out to which `magnification` stays above
  /// `least_magnification`; infinite where it does so to 79 degrees off axis.
  [[nodiscard]] double reach_px(double least_magnification) const;
  /// Largest radius up to which the radial model grows monotonically; beyond it `distort` must not be
  /// trusted. Infinite without distortion.
  [[nodiscard]] double monotonic_radius_px() const { return reach_px(0); }
  /// Unit viewing ray in camera axes (x right, y down, z forward).
  [[nodiscard]] Eigen::Vector3d ray(const Point2<UndistortedPx>& p) const;
};

/// A camera known only by its frame size: focal length of a 28 mm lens on 36 x 24 mm film, marked "assumed".
[[nodiscard]] Camera assumed_camera(int width_px, int height_px);

}  // namespace lookdown
