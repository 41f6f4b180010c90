#include <Eigen/Dense>
#include <cmath>

#include "stages/rectify/rectify.h"

namespace lookdown::rectify {
namespace {

/// Similarity that brings points to centroid 0 and mean distance sqrt 2 (Hartley & Zisserman, 2nd ed.,
/// sec. 4.4.4).
template <class Space>
Eigen::Matrix3d normaliser(const std::vector<Point2<Space>>& points) {
  Eigen::Vector2d centre = Eigen::Vector2d::Zero();
  for (const auto& p : points) centre += Eigen::Vector2d(p.x, p.y) / static_cast<double>(points.size());
  double distance = 0;
  for (const auto& p : points)
    distance += (Eigen::Vector2d(p.x, p.y) - centre).norm() / static_cast<double>(points.size());
  const double scale = distance > 0 ? std::sqrt(2.0) / distance : 1;
  Eigen::Matrix3d t = Eigen::Matrix3d::Identity();
  t(0, 0) = t(1, 1) = scale;
  t.topRightCorner<2, 1>() = -scale * centre;
  return t;
}

template <class Space>
std::vector<Eigen::Vector3d> moved(const std::vector<Point2<Space>>& points, const Eigen::Matrix3d& t) {
  std::vector<Eigen::Vector3d> out;
  out.reserve(points.size());
  for (const auto& p : points) out.push_back(t * Eigen::Vector3d(p.x, p.y, 1));
  return out;
}

/// Direct linear transformation (algorithm 4.1); empty when the points do not fix a homography.
std::optional<Eigen::Matrix3d> linear_solution(const std::vector<Eigen::Vector3d>& from,
                                               const std::vector<Eigen::Vector3d>& to) {
  Eigen::MatrixXd a = Eigen::MatrixXd::Zero(2 * static_cast<long>(from.size()), 9);
  for (std::size_t i = 0; i < from.size(); ++i) {
    const long row = 2 * static_cast<long>(i);
    a.block<1, 3>(row, 3) = -from[i].transpose();
    a.block<1, 3>(row, 6) = to[i].y() * from[i].transpose();
    a.block<1, 3>(row + 1, 0) = from[i].transpose();
    a.block<1, 3>(row + 1, 6) = -to[i].x() * from[i].transpose();
  }
  const Eigen::JacobiSVD<Eigen::MatrixXd> svd(a, Eigen::ComputeFullV);
  if (svd.singularValues()(7) < 1e-9 * svd.singularValues()(0)) return std::nullopt;
  const Eigen::VectorXd h = svd.matrixV().col(8);
  Eigen::Matrix3d matrix;
  matrix << h(0), h(1), h(2), h(3), h(4), h(5), h(6), h(7), h(8);
  if (std::abs(matrix.determinant()) < 1e-12) return std::nullopt;
  return matrix;
}

/// Gauss-Newton on the distances in the target plane, the scale held by keeping the matrix at unit norm.
Eigen::Matrix3d refined(Eigen::Matrix3d h, const std::vector<Eigen::Vector3d>& from,
                        const std::vector<Eigen::Vector3d>& to) {
  for (int round = 0; round < 10; ++round) {
    Eigen::Matrix<double, 9, 9> normal = Eigen::Matrix<double, 9, 9>::Zero();
    Eigen::Matrix<double, 9, 1> gradient = Eigen::Matrix<double, 9, 1>::Zero();
    for (std::size_t i = 0; i < from.size(); ++i) {
      const Eigen::Vector3d p = h * from[i];
      const Eigen::Vector2d residual = p.hnormalized() - to[i].hnormalized();
      Eigen::Matrix<double, 2, 9> jacobian = Eigen::Matrix<double, 2, 9>::Zero();
      jacobian.block<1, 3>(0, 0) = from[i].transpose() / p.z();
      jacobian.block<1, 3>(1, 3) = from[i].transpose() / p.z();
      jacobian.block<1, 3>(0, 6) = -p.x() / (p.z() * p.z()) * from[i].transpose();
      jacobian.block<1, 3>(1, 6) = -p.y() / (p.z() * p.z()) * from[i].transpose();
      normal += jacobian.transpose() * jacobian;
      gradient += jacobian.transpose() * residual;
    }
    Eigen::Matrix<double, 9, 1> current;
    current << h.row(0).transpose(), h.row(1).transpose(), h.row(2).transpose();
    normal += normal.trace() * current * current.transpose() / current.squaredNorm();
    const Eigen::Matrix<double, 9, 1> step = normal.ldlt().solve(gradient);
    if (!step.allFinite()) break;
    current -= step;
    current.normalize();
    h.row(0) = current.segment<3>(0).transpose();
    h.row(1) = current.segment<3>(3).transpose();
    h.row(2) = current.segment<3>(6).transpose();
    if (step.norm() < 1e-13) break;
  }
  return h;
}

}  // namespace

Result<Homography<Ground, UndistortedPx>> fit_homography(const std::vector<Point2<UndistortedPx>>& frame,
                                                         const std::vector<Point2<Ground>>& ground) {
  const auto fault = [](const char* detail) {
    return Fault{"rectify", "marks", detail, "give at least four marks, no three of them on one line"};
  };
  if (frame.size() != ground.size()) return fault("there are not as many ground positions as marks");
  if (frame.size() < 4) return fault("fewer than four marks");
  const Eigen::Matrix3d frame_scale = normaliser(frame), ground_scale = normaliser(ground);
  const auto from = moved(frame, frame_scale), to = moved(ground, ground_scale);
  const auto start = linear_solution(from, to);
  if (!start) return fault("the marks do not fix the plane: too many of them lie on one line");
  const Eigen::Matrix3d matrix = ground_scale.inverse() * refined(*start, from, to) * frame_scale;
  // Sign: positive depth at the marks, so that `depth` tells the shown side of the vanishing line.
  Homography<Ground, UndistortedPx> h{matrix / matrix.norm()};
  if (h.depth(frame.front()) < 0) h.matrix *= -1;
  return h;
}

}  // namespace lookdown::rectify
