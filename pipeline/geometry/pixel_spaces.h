// Points and homographies that know which space they live in, so that raw and undistorted pixels, ground
// metres and mosaic pixels cannot be mixed. Transform names read right to left: ground_from_frame *
// point_in_frame.
#pragma once

#include <Eigen/Core>
#include <Eigen/LU>

namespace lookdown {

/// Pixels of the frame as stored, lens distortion still in; centre of the top-left pixel is (0, 0).
struct StoredPx {};
/// Pixels of the same frame after the lens distortion has been taken out.
struct UndistortedPx {};
/// Pixels of the mosaic; centre of the top-left pixel is (0, 0).
struct MosaicPx {};
/// Position on the ground plane in world units (metres when the scale is known), x east or right, y north or
/// up.
struct Ground {};

/// A position in one space. Plain value.
template <class Space>
struct Point2 {
  double x = 0;
  double y = 0;
};

/// A projective map between two planes, 3x3 matrix up to scale, `To` from `From`.
template <class To, class From>
struct Homography {
  Eigen::Matrix3d matrix = Eigen::Matrix3d::Identity();

  /// Maps a point; a point that goes to infinity comes back as non-finite coordinates.
  [[nodiscard]] Point2<To> operator*(const Point2<From>& p) const {
    const Eigen::Vector3d q = matrix * Eigen::Vector3d(p.x, p.y, 1.0);
    return {q.x() / q.z(), q.y() / q.z()};
  }
  template <class Source>
  [[nodiscard]] Homography<To, Source> operator*(const Homography<From, Source>& first) const {
    return {matrix * first.matrix};
  }
  [[nodiscard]] Homography<From, To> inverse() const { return {matrix.inverse()}; }
  /// Third homogeneous coordinate at `p`: its sign tells on which side of the vanishing line `p` lies.
  [[nodiscard]] double depth(const Point2<From>& p) const {
    return matrix.row(2).dot(Eigen::Vector3d(p.x, p.y, 1.0));
  }
};

}  // namespace lookdown
