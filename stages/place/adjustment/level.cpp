#include "stages/place/adjustment/level.h"

#include <Eigen/Cholesky>
#include <Eigen/Eigenvalues>
#include <Eigen/Geometry>
#include <algorithm>
#include <cmath>

#include "pipeline/base/robust_statistics.h"

namespace lookdown::place {
namespace {

/// Standard deviations in radians. Ground: most is less steep than 1 : 12 over a flight's extent. Hanging
/// cameras: what holds them all pulls them aslant alike. Planes of flight: the air rises and falls along a
/// course, and who flies follows the ground. Measured tilts: a lens's axis is not quite the camera's.
constexpr double kGroundSigma = 0.08, kHangingBias = 0.035, kFlownBias = 0.02, kMeasuredBias = 0.004;
constexpr double kMeasuredSigma = 0.1;  ///< a tilt known better than this was measured
constexpr std::size_t kFewest = 5;

/// Where the slope of what is level lies: up = (-x, -y, 1) in the network's world.
struct Slope {
  Eigen::Vector2d slope = Eigen::Vector2d::Zero();
  double sigma = 1e9;
};

Slope slope_of_tilts(const Network& network, bool measured) {
  std::vector<double> x, y;
  double sum = 0;
  for (const KnownTilt& t : network.known_tilts) {
    if ((t.sigma_rad < kMeasuredSigma) != measured) continue;
    const Eigen::Vector3d up = -(network.poses[std::size_t(t.frame)].world_from_camera * t.down_in_camera);
    if (up.z() < 0.5) continue;
    x.push_back(-up.x() / up.z());
    y.push_back(-up.y() / up.z());
    sum += t.sigma_rad;
  }
  if (x.size() < (measured ? 3 : kFewest)) return {};
  const double count = double(x.size());
  const Eigen::Vector2d middle(median(x), median(y));
  std::vector<double> off;
  for (std::size_t i = 0; i < x.size(); ++i) off.push_back((Eigen::Vector2d(x[i], y[i]) - middle).norm());
  // For Gaussian errors in a plane the median distance is 1.1774 sigma; the median's own spread is 1.2533
  // that of the mean.
  const double spread = std::max(median(off) / 1.1774, measured ? sum / count : 0.0);
  return {middle, std::hypot(1.2533 * spread / std::sqrt(count), measured ? kMeasuredBias : kHangingBias)};
}

Slope slope_of_course(const Network& network) {
  Network centres;
  for (const Pose& p : network.poses)
    if (p.centre.z() > 0) centres.points.emplace_back().position = p.centre;
  if (centres.points.size() < 2 * kFewest) return {};
  const Eigen::Vector3d plane = mean_plane(centres);
  Eigen::Vector2d middle = Eigen::Vector2d::Zero();
  for (const NetworkPoint& p : centres.points) middle += p.position.head<2>() / double(centres.points.size());
  Eigen::Matrix2d spread = Eigen::Matrix2d::Zero();
  double off = 0;
  for (const NetworkPoint& p : centres.points) {
    const Eigen::Vector2d d = p.position.head<2>() - middle;
    spread += d * d.transpose() / double(centres.points.size());
    const double r = p.position.z() - plane.dot(Eigen::Vector3d(p.position.x(), p.position.y(), 1));
    off += r * r / double(centres.points.size());
  }
  const double narrow = std::sqrt(Eigen::SelfAdjointEigenSolver<Eigen::Matrix2d>(spread).eigenvalues()(0));
  // Neighbours along a course rise and fall together: as good as a few independent heights.
  return {plane.head<2>(), std::hypot(std::sqrt(off) / narrow / std::sqrt(3.0), kFlownBias)};
}

}  // namespace

Eigen::Vector3d mean_plane(const Network& network) {
  Eigen::Vector3d plane = Eigen::Vector3d::Zero();
  double width = 1e30;
  for (int pass = 0; pass < 12; ++pass) {
    Eigen::Matrix3d normal = Eigen::Matrix3d::Zero();
    Eigen::Vector3d right = Eigen::Vector3d::Zero();
    std::vector<double> off;
    for (const NetworkPoint& p : network.points) {
      const Eigen::Vector3d row(p.position.x(), p.position.y(), 1);
      const double r = p.position.z() - plane.dot(row), weight = 1 / (1 + r * r / (width * width));
      normal += weight * row * row.transpose();
      right += weight * row * p.position.z();
    }
    if (network.points.size() < 3) return plane;
    plane = normal.ldlt().solve(right);
    for (const NetworkPoint& p : network.points)
      off.push_back(std::abs(p.position.z() - plane.dot(Eigen::Vector3d(p.position.x(), p.position.y(), 1))));
    width = std::max(1e-9, 3 * kSigmaOfMad * median_in_place(off));
  }
  return plane;
}

namespace {

/// What slopes like that becomes level, and z = 0 its height at the middle of the points.
void turn_level(const Eigen::Vector2d& slope, Network& network) {
  const Eigen::Vector3d up = Eigen::Vector3d(-slope.x(), -slope.y(), 1).normalized();
  const Eigen::Matrix3d turn =
      Eigen::Quaterniond::FromTwoVectors(up, Eigen::Vector3d::UnitZ()).toRotationMatrix();
  const Eigen::Vector3d plane = mean_plane(network);
  Eigen::Vector3d middle = Eigen::Vector3d::Zero();
  for (const NetworkPoint& p : network.points) middle += p.position / double(network.points.size());
  middle.z() = plane.x() * middle.x() + plane.y() * middle.y() + plane.z();
  apply({1, turn, Eigen::Vector3d(middle.x(), middle.y(), 0) - turn * middle}, network);
}

}  // namespace

void lay_on_mean_plane(Network& network) {
  turn_level(mean_plane(network).head<2>(), network);
}

void level(Network& network) {
  Eigen::Vector2d sum = Eigen::Vector2d::Zero();
  double weight = 1 / (kGroundSigma * kGroundSigma);
  for (const Slope& s :
       {slope_of_tilts(network, true), slope_of_tilts(network, false), slope_of_course(network)}) {
    sum += s.slope / (s.sigma * s.sigma);
    weight += 1 / (s.sigma * s.sigma);
  }
  turn_level(sum / weight, network);
  for (NetworkPoint& p : network.points)
    if (p.footing == Footing::near_plane) p.footing = Footing::free_height;
}

}  // namespace lookdown::place
