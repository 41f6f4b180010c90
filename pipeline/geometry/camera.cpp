#include "pipeline/geometry/camera.h"

#include <cmath>
#include <limits>

#include "pipeline/geometry/equidistant.h"

namespace lookdown {
namespace {

struct Normalised {
  double x = 0, y = 0;
};

// Brown (1971), OpenCV's form: x'' = x' (1 + k1 r^2 + k2 r^4 + k3 r^6) + 2 p1 x' y' + p2 (r^2 + 2 x'^2).
Normalised with_distortion(const Camera& c, Normalised p) {
  const double r2 = p.x * p.x + p.y * p.y;
  const double radial = 1 + r2 * (c.k1 + r2 * (c.k2 + r2 * c.k3));
  return {p.x * radial + 2 * c.p1 * p.x * p.y + c.p2 * (r2 + 2 * p.x * p.x),
          p.y * radial + c.p1 * (r2 + 2 * p.y * p.y) + 2 * c.p2 * p.x * p.y};
}

Eigen::Matrix2d distortion_jacobian(const Camera& c, Normalised p) {
  const double r2 = p.x * p.x + p.y * p.y;
  const double radial = 1 + r2 * (c.k1 + r2 * (c.k2 + r2 * c.k3));
  const double radial_slope = c.k1 + r2 * (2 * c.k2 + 3 * r2 * c.k3);  // d radial / d r^2
  Eigen::Matrix2d j;
  j(0, 0) = radial + 2 * p.x * p.x * radial_slope + 2 * c.p1 * p.y + 6 * c.p2 * p.x;
  j(0, 1) = 2 * p.x * p.y * radial_slope + 2 * c.p1 * p.x + 2 * c.p2 * p.y;
  j(1, 0) = 2 * p.x * p.y * radial_slope + 2 * c.p1 * p.x + 2 * c.p2 * p.y;
  j(1, 1) = radial + 2 * p.y * p.y * radial_slope + 6 * c.p1 * p.y + 2 * c.p2 * p.x;
  return j;
}

}  // namespace

const char* word(Projection projection) {
  return projection == Projection::equidistant ? "equidistant" : "rectilinear";
}

std::optional<Projection> projection_from_word(const std::string& text) {
  for (const Projection projection : {Projection::rectilinear, Projection::equidistant})
    if (text == word(projection)) return projection;
  return std::nullopt;
}

Eigen::Matrix3d Camera::matrix() const {
  Eigen::Matrix3d k;
  k << fx_px, 0, cx_px, 0, fy_px, cy_px, 0, 0, 1;
  return k;
}

Camera Camera::scaled(double factor) const {
  Camera copy = *this;
  copy.width_px = static_cast<int>(std::lround(width_px * factor));
  copy.height_px = static_cast<int>(std::lround(height_px * factor));
  copy.fx_px = fx_px * factor;
  copy.fy_px = fy_px * factor;
  copy.cx_px = (cx_px + 0.5) * factor - 0.5;
  copy.cy_px = (cy_px + 0.5) * factor - 0.5;
  return copy;
}

Point2<UndistortedPx> Camera::undistort(const Point2<StoredPx>& p) const {
  if (!has_distortion()) return {p.x, p.y};
  const Normalised seen{(p.x - cx_px) / fx_px, (p.y - cy_px) / fy_px};
  Normalised ideal = seen;  // before Brown's terms: tangents, or angles of an equidistant lens
  constexpr int kMostSteps = 30;
  const double small = 1e-9 / fx_px;
  for (int step = 0; step < kMostSteps; ++step) {
    const Normalised now = with_distortion(*this, ideal);
    const Eigen::Vector2d miss(seen.x - now.x, seen.y - now.y);
    if (miss.norm() < small) break;
    const Eigen::Matrix2d jacobian = distortion_jacobian(*this, ideal);
    // Past the fold of the radial model Newton's step would run away; the plain residual step stays near.
    const Eigen::Vector2d correction =
        jacobian.determinant() > 1e-3 ? Eigen::Vector2d(jacobian.inverse() * miss) : miss;
    ideal.x += correction.x();
    ideal.y += correction.y();
  }
  if (projection == Projection::equidistant) {
    const Eigen::Vector2d tangents = tangents_of({ideal.x, ideal.y});
    ideal = {tangents.x(), tangents.y()};
  }
  return {ideal.x * fx_px + cx_px, ideal.y * fy_px + cy_px};
}

Point2<StoredPx> Camera::distort(const Point2<UndistortedPx>& p) const {
  if (!has_distortion()) return {p.x, p.y};
  Normalised ideal{(p.x - cx_px) / fx_px, (p.y - cy_px) / fy_px};
  if (projection == Projection::equidistant) {
    const Eigen::Vector2d angles = angles_of({ideal.x, ideal.y});
    ideal = {angles.x(), angles.y()};
  }
  const Normalised seen = with_distortion(*this, ideal);
  return {seen.x * fx_px + cx_px, seen.y * fy_px + cy_px};
}

double Camera::magnification(double tan_off_axis) const {
  const bool by_angle = projection == Projection::equidistant;
  const double r = by_angle ? std::atan(tan_off_axis) : tan_off_axis, r2 = r * r;
  const double along = 1 + r2 * (3 * k1 + r2 * (5 * k2 + 7 * r2 * k3));
  const double across = 1 + r2 * (k1 + r2 * (k2 + r2 * k3));
  if (!by_angle || r == 0) return std::min(along, across);
  return std::min(along / (1 + tan_off_axis * tan_off_axis), across * r / tan_off_axis);
}

double Camera::reach_px(double least_magnification) const {
  if (projection == Projection::rectilinear && k1 == 0 && k2 == 0 && k3 == 0)
    return std::numeric_limits<double>::infinity();
  constexpr double kStep = 0.01;
  constexpr double kFarthest = 5;  // 79 degrees off axis
  for (double r = kStep; r < kFarthest; r += kStep)
    if (magnification(r) <= least_magnification) return (r - kStep) * fx_px;
  return std::numeric_limits<double>::infinity();
}

Eigen::Vector3d Camera::ray(const Point2<UndistortedPx>& p) const {
  return Eigen::Vector3d((p.x - cx_px) / fx_px, (p.y - cy_px) / fy_px, 1.0).normalized();
}

Camera assumed_camera(int width_px, int height_px) {
  Camera camera;
  camera.width_px = width_px;
  camera.height_px = height_px;
  // 28 mm on 36 mm film is the commonest wide setting of compact cameras (common practice).
  camera.fx_px = camera.fy_px = 28.0 / 36.0 * std::max(width_px, height_px);
  camera.cx_px = (width_px - 1) / 2.0;
  camera.cy_px = (height_px - 1) / 2.0;
  camera.focal_from = "assumed";
  camera.distortion_from = "none";
  camera.focal_sigma_share = 0.3;
  return camera;
}

}  // namespace lookdown
