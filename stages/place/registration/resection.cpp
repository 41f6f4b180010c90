#include "stages/place/registration/resection.h"

#include <Eigen/Geometry>
#include <Eigen/SVD>
#include <opencv2/calib3d.hpp>

namespace lookdown::place {

std::optional<Resected> resect(const std::vector<GroundSight>& sights, const Camera& camera,
                               double tolerance_px) {
  constexpr std::size_t fewest = 10;
  if (sights.size() < fewest) return std::nullopt;
  // Centred, so that map coordinates of millions of metres do not spoil the homography.
  Eigen::Vector2d middle = Eigen::Vector2d::Zero();
  for (const GroundSight& s : sights)
    middle += Eigen::Vector2d(s.ground.x, s.ground.y) / double(sights.size());
  std::vector<cv::Point2d> ground, frame;
  for (const GroundSight& s : sights) {
    ground.emplace_back(s.ground.x - middle.x(), s.ground.y - middle.y());
    frame.emplace_back(s.at.x, s.at.y);
  }
  std::vector<std::uint8_t> agrees;
  const cv::Mat found =
      cv::findHomography(ground, frame, cv::USAC_MAGSAC, tolerance_px, agrees, 3000, 0.9995);
  if (found.empty()) return std::nullopt;
  Resected result;
  for (std::uint8_t a : agrees) result.agreeing += a != 0;
  if (result.agreeing < int(fewest) || result.agreeing * 3 < int(sights.size())) return std::nullopt;

  Eigen::Matrix3d h;
  for (int r = 0; r < 3; ++r)
    for (int c = 0; c < 3; ++c) h(r, c) = found.at<double>(r, c);
  Eigen::Matrix3d m = camera.matrix().inverse() * h;
  m /= std::sqrt(m.col(0).norm() * m.col(1).norm());
  // The sign that puts the plane in front of the camera.
  if (m(2, 2) < 0) m = -m;
  Eigen::Matrix3d camera_from_world;
  camera_from_world << m.col(0), m.col(1), m.col(0).cross(m.col(1));
  const Eigen::JacobiSVD<Eigen::Matrix3d> svd(camera_from_world, Eigen::ComputeFullU | Eigen::ComputeFullV);
  camera_from_world = svd.matrixU() * svd.matrixV().transpose();
  if (camera_from_world.determinant() < 0) return std::nullopt;
  result.pose.world_from_camera = camera_from_world.transpose();
  result.pose.centre =
      -(camera_from_world.transpose() * m.col(2)) + Eigen::Vector3d(middle.x(), middle.y(), 0);
  if (!(result.pose.centre.z() > 0)) return std::nullopt;
  return result;
}

}  // namespace lookdown::place
