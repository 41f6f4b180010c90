// A plain between ridges in haze, drawn pixel by pixel from the viewing rays: the far ridge is level but for
// its hills, the near one rises to one side and hides the far one there. For tests and benchmarks only.
#pragma once

#include <Eigen/Geometry>
#include <array>
#include <cmath>
#include <opencv2/core.hpp>
#include <opencv2/imgproc.hpp>
#include <random>

#include "pipeline/geometry/camera.h"
#include "stages/level/horizon_geometry.h"

namespace lookdown::level {

/// Height of a ridge above the horizon (tangent of the angle) over the azimuth.
struct Ridge {
  double distance_m = 0;
  double base = 0, slope = 0;  ///< slope: a radian of azimuth
  std::array<double, 4> amplitude{}, phase{};

  [[nodiscard]] double height(double azimuth_rad) const {
    double h = base + slope * azimuth_rad;
    for (int k = 0; k < 4; ++k) h += amplitude[k] * std::sin((3 + 5 * k) * azimuth_rad + phase[k]);
    return h;
  }
};

/// What a contrast of one is seen as through `distance_m` of air: Koschmieder's law, with the visibility at
/// which 2 % are left (WMO No. 8, Guide to Instruments, chapter 9: meteorological optical range is the same
/// at 5 %).
inline double transmittance(double distance_m, double visibility_m) {
  return std::exp(-3.912 * distance_m / visibility_m);
}

/// Camera 120 m above a plain with a near ridge (1.5 km) and a far one (5 km). The true horizon is that of
/// `attitude`.
inline cv::Mat3b hazy_ridges(const Camera& camera, const Attitude& attitude, double visibility_m,
                             unsigned seed) {
  std::mt19937 random(seed);
  const auto uniform = [&](double low, double high) {
    return std::uniform_real_distribution<double>(low, high)(random);
  };
  Ridge near{1500, uniform(-0.02, 0), uniform(0.02, 0.05) * (random() % 2 == 0 ? 1 : -1), {}, {}},
      far{5000, uniform(0.01, 0.03), 0, {}, {}};
  for (int k = 0; k < 4; ++k) {
    near.amplitude[k] = uniform(0, 0.006) / (k + 1), near.phase[k] = uniform(0, 6.28);
    far.amplitude[k] = uniform(0, 0.004) / (k + 1), far.phase[k] = uniform(0, 6.28);
  }
  cv::RNG noise(seed);
  cv::Mat3b patches(256, 256);
  noise.fill(patches, cv::RNG::UNIFORM, cv::Scalar(10, 30, 20), cv::Scalar(90, 130, 110));
  cv::GaussianBlur(patches, patches, {}, 1.5);
  const double bright = uniform(0.7, 1.25);
  const cv::Vec3d airlight = bright * cv::Vec3d(205, 205, 200), zenith = bright * cv::Vec3d(190, 150, 115);
  const Eigen::Vector3d up = up_from_attitude(attitude, 1);
  const Eigen::Vector3d right = Eigen::Vector3d(0, 0, 1).cross(up).normalized(), ahead = up.cross(right);
  constexpr double kHeight_m = 120;
  cv::Mat3b picture(camera.height_px, camera.width_px);
  for (int y = 0; y < picture.rows; ++y)
    for (int x = 0; x < picture.cols; ++x) {
      const Eigen::Vector3d ray =
          camera.ray(camera.undistort({static_cast<double>(x), static_cast<double>(y)}));
      const double level = std::hypot(ray.dot(right), ray.dot(ahead)), tangent = ray.dot(up) / level;
      const double azimuth = std::atan2(ray.dot(right), ray.dot(ahead));
      const double ground_m = tangent < 0 ? kHeight_m / -tangent : 1e9;
      const auto texture = [&](double distance_m, double grain_m) {
        const int u = static_cast<int>(std::floor(azimuth * distance_m / grain_m)) & 255;
        const int v =
            static_cast<int>(std::floor(distance_m / grain_m + tangent * distance_m / grain_m)) & 255;
        return cv::Vec3d(patches(v, u));
      };
      cv::Vec3d colour = zenith + (airlight - zenith) * std::exp(-6 * std::max(0.0, tangent));
      const auto through_air = [&](const cv::Vec3d& own, double distance_m) {
        return airlight + (own - airlight) * transmittance(distance_m, visibility_m);
      };
      if (tangent < near.height(azimuth) && ground_m > near.distance_m)
        colour = through_air(0.5 * texture(near.distance_m, 20), near.distance_m);
      else if (tangent < far.height(azimuth) && ground_m > far.distance_m)
        colour = through_air(0.5 * texture(far.distance_m, 60), far.distance_m);
      else if (tangent < 0)
        colour = through_air(texture(ground_m, 4), ground_m);
      for (int c = 0; c < 3; ++c)
        picture(y, x)[c] = cv::saturate_cast<uchar>(colour[c] + noise.gaussian(2.0));
    }
  cv::GaussianBlur(picture, picture, {}, 0.7);
  return picture;
}

}  // namespace lookdown::level
