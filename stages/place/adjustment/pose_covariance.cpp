#include "stages/place/adjustment/pose_covariance.h"

#include <Eigen/Geometry>
#include <Eigen/SparseCholesky>
#include <algorithm>
#include <array>
#include <cmath>
#include <map>
#include <utility>

#include "stages/place/adjustment/projection_residual.h"

namespace lookdown::place {
namespace {

/// Derivatives of one sighting at the present values.
struct Derivatives {
  Eigen::Matrix<double, 2, kPoseParameters, Eigen::RowMajor> pose;
  Eigen::Matrix<double, 2, 3, Eigen::RowMajor> point;
  Eigen::Matrix<double, 2, kCameraParameters, Eigen::RowMajor> camera;
  Eigen::Vector2d residual;
};

Derivatives derivatives(const Network& n, const Sighting& s) {
  const int camera = n.camera_of_frame[std::size_t(s.frame)];
  const Camera& now = n.cameras[std::size_t(camera)];
  const Camera& prior = n.known_cameras[std::size_t(camera)].prior;
  const Pose& pose = n.poses[std::size_t(s.frame)];
  const ProjectionResidual cost(s.at, s.sigma_px, pose.world_from_camera, prior);
  const double pose_values[kPoseParameters] = {0, 0, 0, pose.centre.x(), pose.centre.y(), pose.centre.z()};
  const double lens[kCameraParameters] = {std::log(now.fx_px / prior.fx_px),
                                          (now.cx_px - prior.cx_px) / prior.fx_px,
                                          (now.cy_px - prior.cy_px) / prior.fy_px, now.k1, now.k2};
  const double* parameters[3] = {pose_values, n.points[std::size_t(s.point)].position.data(), lens};
  Derivatives d;
  double* jacobians[3] = {d.pose.data(), d.point.data(), d.camera.data()};
  cost.Evaluate(parameters, d.residual.data(), jacobians);
  return d;
}

/// Normal equations over poses and cameras, points eliminated one by one.
class Normals {
 public:
  explicit Normals(const Network& n)
      : frames_(int(n.poses.size())),
        size_(frames_ * kPoseParameters + int(n.cameras.size()) * kCameraParameters) {
    add_priors(n);
    std::vector<std::vector<const Sighting*>> of_point(n.points.size());
    for (const Sighting& s : n.sightings) of_point[std::size_t(s.point)].push_back(&s);
    for (std::size_t p = 0; p < of_point.size(); ++p) add_point(n, n.points[p], of_point[p]);
  }
  /// Sightings weigh by what they were found to be worth, what is known beforehand by what it was said to be.
  [[nodiscard]] Eigen::SparseMatrix<double> matrix() const {
    std::vector<Eigen::Triplet<double>> entries = known_;
    const double weight = 1 / variance_factor();
    for (const auto& [at, block] : seen_)
      for (int r = 0; r < block.rows(); ++r)
        for (int c = 0; c < block.cols(); ++c)
          entries.emplace_back(at.first + r, at.second + c, weight * block(r, c));
    Eigen::SparseMatrix<double> m(size_, size_);
    m.setFromTriplets(entries.begin(), entries.end());
    return m;
  }

 private:
  /// Frames that repeat each other agree better than any spot can be found: no less than a twentieth of a
  /// pixel is believed.
  [[nodiscard]] double variance_factor() const { return count_ > 0 ? std::max(0.01, squares_ / count_) : 1; }
  void add_priors(const Network& n) {
    // Shift, scale and heading of the whole are free: a little weight on everything keeps the equations
    // solvable and moves no tilt.
    for (int i = 0; i < frames_; ++i)
      for (int k = 0; k < kPoseParameters; ++k) {
        const double height = std::max(1e-9, n.poses[std::size_t(i)].centre.z());
        const double sigma = k < 3 ? kSwingSigma : height;
        known_.emplace_back(i * kPoseParameters + k, i * kPoseParameters + k, 1 / (sigma * sigma));
      }
    for (std::size_t c = 0; c < n.cameras.size(); ++c) {
      const KnownCamera& known = n.known_cameras[c];
      const double middle = known.principal_point_sigma_share *
                            std::max(known.prior.width_px, known.prior.height_px) / known.prior.fx_px;
      const std::array<double, kCameraParameters> sigma{known.focal_sigma_share, middle, middle,
                                                        known.k1_sigma, known.k2_sigma};
      for (int k = 0; k < kCameraParameters; ++k) {
        const int at = frames_ * kPoseParameters + int(c) * kCameraParameters + k;
        known_.emplace_back(at, at, 1 / (sigma[std::size_t(k)] * sigma[std::size_t(k)]));
      }
    }
  }
  void add_point(const Network& n, const NetworkPoint& point, const std::vector<const Sighting*>& sights) {
    if (sights.size() < 2) return;
    struct Block {
      int at;
      Eigen::MatrixXd own, by_point;
    };
    std::vector<Block> blocks;
    Eigen::Matrix3d v = Eigen::Matrix3d::Zero();
    if (point.footing == Footing::on_plane) v(2, 2) = 1e12;
    if (point.footing == Footing::near_plane) v(2, 2) = 1 / (n.relief_sigma * n.relief_sigma);
    for (const Sighting* s : sights) {
      const Derivatives d = derivatives(n, *s);
      squares_ += d.residual.squaredNorm();
      count_ += 2;
      v += d.point.transpose() * d.point;
      const int camera =
          frames_ * kPoseParameters + n.camera_of_frame[std::size_t(s->frame)] * kCameraParameters;
      const int pose = s->frame * kPoseParameters;
      blocks.push_back({pose, d.pose, d.pose.transpose() * d.point});
      blocks.push_back({camera, d.camera, d.camera.transpose() * d.point});
      add(pose, pose, d.pose.transpose() * d.pose);
      add(camera, camera, d.camera.transpose() * d.camera);
      add(pose, camera, d.pose.transpose() * d.camera);
      add(camera, pose, d.camera.transpose() * d.pose);
    }
    const Eigen::Matrix3d inverse = v.inverse();
    for (const Block& p : blocks)
      for (const Block& q : blocks) add(p.at, q.at, -(p.by_point * inverse * q.by_point.transpose()));
    count_ -= point.footing == Footing::on_plane ? 2 : 3;
  }
  void add(int row, int column, const Eigen::MatrixXd& block) {
    const auto [entry, added] = seen_.try_emplace({row, column}, block);
    if (!added) entry->second += block;
  }
  int frames_, size_;
  std::vector<Eigen::Triplet<double>> known_;
  /// Summed by pair of frames: there are far fewer of those than of points that many frames share.
  std::map<std::pair<int, int>, Eigen::MatrixXd> seen_;
  double squares_ = 0;
  double count_ = 0;
};

}  // namespace

Sureness sureness_of(const Network& network) {
  Sureness sure{std::vector<double>(network.poses.size(), kSwingSigma), {}};
  for (const KnownCamera& c : network.known_cameras) sure.focal_share.push_back(c.focal_sigma_share);
  const Normals normals(network);
  const Eigen::SparseMatrix<double> matrix = normals.matrix();
  const Eigen::SimplicialLDLT<Eigen::SparseMatrix<double>> solver(matrix);
  if (solver.info() != Eigen::Success) return sure;
  for (std::size_t i = 0; i < network.poses.size(); ++i) {
    Eigen::MatrixXd unit = Eigen::MatrixXd::Zero(matrix.rows(), 3);
    for (int k = 0; k < 3; ++k) unit(Eigen::Index(i) * kPoseParameters + k, k) = 1;
    const Eigen::Matrix3d turn = solver.solve(unit).middleRows(Eigen::Index(i) * kPoseParameters, 3);
    // A turn about the vertical leaves straight down where it is.
    const Eigen::Vector3d down = down_in_camera(network.poses[i]);
    const Eigen::Matrix3d across = cross_matrix(down) * turn * cross_matrix(down).transpose();
    sure.tilt_rad[i] = std::min(kSwingSigma, std::sqrt(std::max(0.0, 0.5 * across.trace())));
  }
  for (std::size_t c = 0; c < network.cameras.size(); ++c) {
    // The first parameter of a camera is the logarithm of its focal length over the prior.
    const Eigen::Index at =
        Eigen::Index(network.poses.size()) * kPoseParameters + Eigen::Index(c) * kCameraParameters;
    const Eigen::VectorXd unit = Eigen::VectorXd::Unit(matrix.rows(), at);
    sure.focal_share[c] = std::sqrt(std::max(0.0, solver.solve(unit)(at)));
  }
  return sure;
}

}  // namespace lookdown::place
