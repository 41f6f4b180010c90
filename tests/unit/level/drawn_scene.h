// A plain scene with a known horizon, drawn pixel by pixel from the viewing rays: sky that brightens toward
// the horizon, ground of random patches. For tests only.
#pragma once

#include <Eigen/Geometry>
#include <cmath>
#include <opencv2/core.hpp>
#include <opencv2/imgproc.hpp>

#include "pipeline/geometry/camera.h"
#include "stages/level/horizon_geometry.h"

namespace lookdown::level {

inline cv::Mat3b drawn_scene(const Camera& camera, const Attitude& attitude, int orientation, unsigned seed) {
  cv::RNG random(seed);
  cv::Mat3b patches(256, 256);
  random.fill(patches, cv::RNG::UNIFORM, cv::Scalar(10, 30, 20), cv::Scalar(110, 150, 120));
  cv::GaussianBlur(patches, patches, {}, 1.5);
  const Eigen::Vector3d up = up_from_attitude(attitude, orientation);
  const Eigen::Vector3d right = up.cross(Eigen::Vector3d(0, 0, 1)).normalized(), ahead = up.cross(right);
  cv::Mat3b picture(camera.height_px, camera.width_px);
  for (int y = 0; y < picture.rows; ++y)
    for (int x = 0; x < picture.cols; ++x) {
      const Eigen::Vector3d ray =
          camera.ray(camera.undistort({static_cast<double>(x), static_cast<double>(y)}));
      const double height = ray.dot(up);
      const double noise = random.gaussian(2.0);
      if (height > 0) {
        const double haze = std::exp(-4 * height);
        picture(y, x) = cv::Vec3b(cv::saturate_cast<uchar>(200 + 30 * haze + noise),
                                  cv::saturate_cast<uchar>(160 + 60 * haze + noise),
                                  cv::saturate_cast<uchar>(120 + 90 * haze + noise));
      } else {
        const double far = std::min(1 / std::max(-height, 1e-4), 200.0);
        const int u = static_cast<int>(std::floor(ray.dot(right) * far * 40)) & 255;
        const int v = static_cast<int>(std::floor(ray.dot(ahead) * far * 40)) & 255;
        const cv::Vec3b patch = patches(v, u);
        picture(y, x) =
            cv::Vec3b(cv::saturate_cast<uchar>(patch[0] + noise), cv::saturate_cast<uchar>(patch[1] + noise),
                      cv::saturate_cast<uchar>(patch[2] + noise));
      }
    }
  cv::GaussianBlur(picture, picture, {}, 0.7);
  return picture;
}

}  // namespace lookdown::level
