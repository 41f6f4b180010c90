// The camera of the rendered flight: pinhole or equidistant fisheye with Brown distortion (k1, k2, p1, p2,
// k3), which of a fisheye bends angles in place of tangents.
#pragma once

#include "geometry.h"

namespace render {

struct Camera {
  int width_px = 1600, height_px = 1067;
  bool fisheye = false;
  double fx_px = 1244, fy_px = 1244, cx_px = 799.5, cy_px = 533;
  double k1 = 0, k2 = 0, p1 = 0, p2 = 0, k3 = 0;
  double focal_mm = 18.7, focal_35mm = 28;
  double diagonal_px() const { return std::hypot(width_px, height_px); }
};

struct Pose {
  Rotation rotation;
  Vec3 centre;
};

// Pixel (centre of the top-left pixel = 0, 0) of a point given in camera axes, z > 0.
Vec2 project(const Camera& camera, Vec3 in_camera);
Vec2 project(const Camera& camera, const Pose& pose, Vec3 world);

// Direction in camera axes, z = 1, of a pixel: the inverse of project(). What a fisheye shows beyond 85
// degrees off its axis is shown as at 85.
Vec3 ray_of(const Camera& camera, Vec2 pixel);

// Straight down, image right towards `heading` (counter-clockwise from east); tilted by `off_nadir` about a
// horizontal axis at `tilt_axis`.
Rotation look_down(double heading, double off_nadir, double tilt_axis);

// Towards `azimuth` (clockwise from north), optical axis `pitch` above the horizontal; the horizon then shows
// the clockwise-positive `roll` in the frame as displayed with Exif `orientation` 1, 3, 6 or 8.
Rotation look_forward(double azimuth, double pitch, double roll, int orientation);

// The horizon in undistorted pixels as stored, a x + b y + c = 0 with a^2 + b^2 = 1; roll as displayed.
struct HorizonLine {
  double a, b, c, roll_deg, pitch_deg;
  bool in_frame;
};
HorizonLine horizon_of(const Camera& camera, const Rotation& rotation, int orientation);

}  // namespace render
