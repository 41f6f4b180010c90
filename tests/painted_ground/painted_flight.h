// Frames of a made-up flight over a painted site, with their truth in the form that tests/bench/place scores
// against.
#pragma once

#include <Eigen/Core>
#include <filesystem>
#include <string>
#include <vector>

#include "painted_site.h"

namespace painted {

struct FlightChoice {
  int width_px = 800;
  int height_px = 600;
  double focal_px = 720;
  double k1 = 0;
  double k2 = 0;
  bool fisheye = false;
  int columns = 4;
  int rows = 3;
  double overlap = 0.55;        ///< share of a frame's sides between neighbours when all look straight down
  double swing_deg = 5;         ///< standard deviation of each of two tilts, cut at twice that
  double height_ratio = 1.2;    ///< highest over lowest frame
  double exposure_stops = 0.3;  ///< half width of the spread
  double blurred_share = 0;
  double portrait_share = 0;   ///< frames whose pixels are turned by 90 degrees, as some viewers save them
  bool rig_in_view = false;    ///< a part of what carries the camera fills a corner of every frame
  double cloud_shadow = 0;     ///< share of light that drifting clouds take away, other places in every frame
  double soft_corners_px = 0;  ///< standard deviation of the lens's blur in the corners
  double photon_noise = 0;     ///< variance that grain gains for each code value of light
  unsigned seed = 1;
  double unit_px = 1;          ///< pixels of a frame that show one unit of ground, at the mean height
  double west = 0, south = 0;  ///< lower left corner of the flown block on the site
};

struct Shot {
  std::string file;
  Eigen::Matrix3d world_from_camera;
  Eigen::Vector3d centre;
  bool sharp = true;
  double exposure_stops = 0;
  bool portrait = false;
  bool rig_in_view = false;
  double cloud_shadow = 0, soft_corners_px = 0, photon_noise = 0;
  unsigned seed = 1;  ///< of waves, wind, clouds and noise
};

struct PaintedCamera {
  int width_px = 0, height_px = 0;
  double focal_px = 0, cx_px = 0, cy_px = 0, k1 = 0, k2 = 0;
  int samples = 2;  ///< rays a side of a pixel; 1 is enough where a pixel shows less than a unit of ground
  bool fisheye = false;  ///< equidistant, its k1 and k2 those of cv::fisheye
};

/// Straight down from `centre`, turned by `heading_rad`, then tilted about the camera's x and y axes.
[[nodiscard]] Shot shot(const std::string& file, const Eigen::Vector3d& centre, double heading_rad,
                        double tilt_x_rad, double tilt_y_rad);

/// The poses of a flight to and fro over the block; files are PREFIX001.jpg and so on.
[[nodiscard]] std::vector<Shot> fly(const FlightChoice&, const std::string& prefix = "F");
[[nodiscard]] PaintedCamera camera_of(const FlightChoice&);

/// The picture that `shot` takes. Rays by cv::undistortPoints or cv::fisheye::undistortPoints.
[[nodiscard]] cv::Mat take(const Site&, const PaintedCamera&, const Shot&);

/// Ground that a block of frames covers with a border, so that a site can be made large enough.
[[nodiscard]] cv::Size2d covered(const FlightChoice&);

/// Takes all shots into `folder` as JPEG files and writes truth.json beside them.
void take_all(const Site&, const PaintedCamera&, const std::vector<Shot>&,
              const std::filesystem::path& folder);

}  // namespace painted
