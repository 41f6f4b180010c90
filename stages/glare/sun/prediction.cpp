#include <Eigen/Geometry>
#include <cmath>
#include <numbers>
#include <opencv2/core.hpp>

#include "stages/glare/glare.h"

namespace lookdown::glare {

Prediction::Prediction() : glint(std::make_unique<cv::Mat>()), sky(std::make_unique<cv::Mat>()) {}
Prediction::Prediction(Prediction&&) noexcept = default;
Prediction& Prediction::operator=(Prediction&&) noexcept = default;
Prediction::~Prediction() = default;

std::optional<SunPosition> sun_of_frame(const FrameInfo& frame, const Options& options) {
  std::optional<double> lat_deg = options.lat_deg, lon_deg = options.lon_deg;
  if (!(lat_deg && lon_deg) && frame.position) {
    lat_deg = frame.position->lat_deg;
    lon_deg = frame.position->lon_deg;
  }
  const std::optional<double> utc_offset_h = options.utc_offset_h ? options.utc_offset_h : frame.utc_offset_h;
  if (!lat_deg || !lon_deg || !utc_offset_h || !frame.taken_at_s) return std::nullopt;
  const double utc_s = *frame.taken_at_s + options.clock_offset_s - *utc_offset_h * 3600.0;
  return sun_position(*lat_deg, *lon_deg, utc_s);
}

double wave_slope(const Options& options) {
  constexpr double kGentleWind = 4.0;  // enough to reach the small-pond cap
  return options.wind_m_s ? mean_square_slope(*options.wind_m_s) : mean_square_slope_of_pond(kGentleWind);
}

std::optional<Point2<UndistortedPx>> mirror_point(const Pose& pose, const Camera& camera,
                                                  const SunPosition& sun) {
  const auto ray = mirror_ray(sun);
  if (!ray) return std::nullopt;
  const Eigen::Vector3d in_camera = pose.world_from_camera.transpose() * *ray;
  if (in_camera.z() <= 1e-9) return std::nullopt;
  return Point2<UndistortedPx>{camera.fx_px * in_camera.x() / in_camera.z() + camera.cx_px,
                               camera.fy_px * in_camera.y() / in_camera.z() + camera.cy_px};
}

Prediction predict(const Pose& pose, const Camera& camera, const SunPosition& sun, double mean_square_slope,
                   double refractive_index, int columns, int rows) {
  Prediction expected;
  *expected.glint = cv::Mat::zeros(rows, columns, CV_32FC1);
  *expected.sky = cv::Mat::zeros(rows, columns, CV_32FC1);
  const Eigen::Vector3d to_sun = sun_direction(sun);
  const double peak = 1.0 / (std::numbers::pi * mean_square_slope);
  for (int row = 0; row < rows; ++row) {
    for (int column = 0; column < columns; ++column) {
      const Point2<StoredPx> stored{(column + 0.5) * camera.width_px / columns - 0.5,
                                    (row + 0.5) * camera.height_px / rows - 0.5};
      const Eigen::Vector3d to_viewer = -(pose.world_from_camera * camera.ray(camera.undistort(stored)));
      if (to_viewer.z() <= 0) continue;
      if (to_sun.z() > 0)
        expected.glint->at<float>(row, column) =
            static_cast<float>(facet_density(to_sun, to_viewer, mean_square_slope) / peak);
      expected.sky->at<float>(row, column) =
          static_cast<float>(fresnel_reflectance(std::acos(std::min(1.0, to_viewer.z())), refractive_index));
    }
  }
  return expected;
}

}  // namespace lookdown::glare
