// Residuals of the adjustment with their derivatives. Private to place.
#pragma once

#include <ceres/sized_cost_function.h>

#include <Eigen/Core>
#include <Eigen/Geometry>
#include <cmath>

#include "pipeline/geometry/camera.h"
#include "pipeline/geometry/equidistant.h"
#include "pipeline/geometry/pixel_spaces.h"

namespace lookdown::place {

/// Parameters of a pose: small turn (rotation vector, camera axes) on top of `base`, then centre.
inline constexpr int kPoseParameters = 6;
/// Parameters of a camera: logarithm of the focal length over its prior, principal point over the focal
/// length prior, k1, k2.
inline constexpr int kCameraParameters = 5;

inline Eigen::Matrix3d cross_matrix(const Eigen::Vector3d& v) {
  Eigen::Matrix3d m;
  m << 0, -v.z(), v.y(), v.z(), 0, -v.x(), -v.y(), v.x(), 0;
  return m;
}

inline Eigen::Matrix3d turn_matrix(const Eigen::Vector3d& w) {
  const double angle = w.norm();
  if (angle < 1e-12) return Eigen::Matrix3d::Identity() + cross_matrix(w);
  return Eigen::AngleAxisd(angle, w / angle).toRotationMatrix();
}

/// Right Jacobian of the rotation group (e.g. Sola et al., A micro Lie theory, 2018, eq. 143).
inline Eigen::Matrix3d right_jacobian(const Eigen::Vector3d& w) {
  const double square = w.squaredNorm(), angle = std::sqrt(square);
  const Eigen::Matrix3d k = cross_matrix(w);
  if (angle < 1e-5) return Eigen::Matrix3d::Identity() - 0.5 * k + k * k / 6;
  return Eigen::Matrix3d::Identity() - (1 - std::cos(angle)) / square * k +
         (angle - std::sin(angle)) / (square * angle) * k * k;
}

/// Where a point shows in a frame minus where it was seen, in units of the sighting's sigma. Projection and
/// distortion as in `Camera`.
class ProjectionResidual : public ceres::SizedCostFunction<2, kPoseParameters, 3, kCameraParameters> {
 public:
  ProjectionResidual(const Point2<StoredPx>& seen, double sigma_px, const Eigen::Matrix3d& base,
                     const Camera& prior)
      : seen_(seen), weight_(1 / sigma_px), base_(base), prior_(prior) {}

  bool Evaluate(double const* const* parameters, double* residuals, double** jacobians) const override {
    const Eigen::Map<const Eigen::Vector3d> turn(parameters[0]), centre(parameters[0] + 3),
        point(parameters[1]);
    const double* lens = parameters[2];
    const Eigen::Matrix3d camera_from_world = turn_matrix(turn).transpose() * base_.transpose();
    const Eigen::Vector3d p = camera_from_world * (point - centre);
    if (p.z() < 1e-6 * centre.norm()) return behind(residuals, jacobians);

    const double fx = prior_.fx_px * std::exp(lens[0]), fy = prior_.fy_px * std::exp(lens[0]);
    const double k1 = lens[3], k2 = lens[4], k3 = prior_.k3, p1 = prior_.p1, p2 = prior_.p2;
    const bool by_angle = prior_.projection == Projection::equidistant;
    const Eigen::Vector2d tangents(p.x() / p.z(), p.y() / p.z());
    Eigen::Matrix2d by_tangents = Eigen::Matrix2d::Identity();
    const Eigen::Vector2d ideal = by_angle ? angles_of(tangents, &by_tangents) : tangents;
    const double u = ideal.x(), v = ideal.y(), r2 = u * u + v * v;
    const double radial = 1 + r2 * (k1 + r2 * (k2 + r2 * k3));
    const double xd = u * radial + 2 * p1 * u * v + p2 * (r2 + 2 * u * u);
    const double yd = v * radial + p1 * (r2 + 2 * v * v) + 2 * p2 * u * v;
    residuals[0] = weight_ * (fx * xd + prior_.cx_px + prior_.fx_px * lens[1] - seen_.x);
    residuals[1] = weight_ * (fy * yd + prior_.cy_px + prior_.fy_px * lens[2] - seen_.y);
    if (jacobians == nullptr) return true;

    const double slope = k1 + r2 * (2 * k2 + 3 * k3 * r2);  // d radial / d r2
    Eigen::Matrix2d by_uv;
    by_uv(0, 0) = radial + 2 * u * u * slope + 2 * p1 * v + 6 * p2 * u;
    by_uv(0, 1) = 2 * u * v * slope + 2 * p1 * u + 2 * p2 * v;
    by_uv(1, 0) = by_uv(0, 1);
    by_uv(1, 1) = radial + 2 * v * v * slope + 6 * p1 * v + 2 * p2 * u;
    Eigen::Matrix<double, 2, 3> uv_by_p;
    uv_by_p << 1 / p.z(), 0, -tangents.x() / p.z(), 0, 1 / p.z(), -tangents.y() / p.z();
    if (by_angle) uv_by_p = by_tangents * uv_by_p;
    Eigen::Matrix<double, 2, 3> by_p = by_uv * uv_by_p;
    by_p.row(0) *= weight_ * fx;
    by_p.row(1) *= weight_ * fy;
    if (jacobians[0] != nullptr) {
      Eigen::Map<Eigen::Matrix<double, 2, kPoseParameters, Eigen::RowMajor>> j(jacobians[0]);
      j.leftCols<3>() = by_p * cross_matrix(p) * right_jacobian(turn);
      j.rightCols<3>() = -by_p * camera_from_world;
    }
    if (jacobians[1] != nullptr) {
      Eigen::Map<Eigen::Matrix<double, 2, 3, Eigen::RowMajor>> j(jacobians[1]);
      j = by_p * camera_from_world;
    }
    if (jacobians[2] != nullptr) {
      Eigen::Map<Eigen::Matrix<double, 2, kCameraParameters, Eigen::RowMajor>> j(jacobians[2]);
      j << fx * xd, prior_.fx_px, 0, fx * u * r2, fx * u * r2 * r2, fy * yd, 0, prior_.fy_px, fy * v * r2,
          fy * v * r2 * r2;
      j *= weight_;
    }
    return true;
  }

 private:
  /// A point behind the camera pulls nowhere; the robust loss caps what it costs.
  static bool behind(double* residuals, double** jacobians) {
    residuals[0] = residuals[1] = 1e4;
    if (jacobians == nullptr) return true;
    const int widths[3] = {kPoseParameters, 3, kCameraParameters};
    for (int block = 0; block < 3; ++block)
      if (jacobians[block] != nullptr) std::fill(jacobians[block], jacobians[block] + 2 * widths[block], 0.0);
    return true;
  }
  Point2<StoredPx> seen_;
  double weight_;
  Eigen::Matrix3d base_;
  const Camera& prior_;
};

/// Straight down seen from the camera against what is known of it, in units of sigma.
struct TiltResidual {
  Eigen::Matrix3d base;
  Eigen::Vector3d known;
  double weight;
  template <class T>
  bool operator()(const T* pose, T* residuals) const {
    using Vector = Eigen::Matrix<T, 3, 1>;
    // camera_from_world * (0, 0, -1), the turn applied inversely; the first-order form is exact enough
    // because the base is renewed before every solution, and the norm keeps it a direction.
    const Vector down = -base.row(2).transpose().cast<T>();
    const Vector turn(pose[0], pose[1], pose[2]);
    const Vector turned = (down - turn.cross(down)).normalized();
    for (int i = 0; i < 3; ++i) residuals[i] = (turned(i) - T(known(i))) * T(weight);
    return true;
  }
};

/// Differences of parameters from what is known of them, in units of sigma.
template <int Count, int From = 0>
struct KnownValues {
  std::array<double, Count> known;
  std::array<double, Count> sigma;
  template <class T>
  bool operator()(const T* value, T* residuals) const {
    for (int i = 0; i < Count; ++i)
      residuals[i] = (value[From + i] - T(known[std::size_t(i)])) / T(sigma[std::size_t(i)]);
    return true;
  }
};

}  // namespace lookdown::place
