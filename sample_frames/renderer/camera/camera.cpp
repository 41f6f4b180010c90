#include "camera/camera.h"

namespace render {

Vec2 project(const Camera& camera, Vec3 in_camera) {
  double x = in_camera.x / in_camera.z, y = in_camera.y / in_camera.z;
  if (camera.fisheye) {
    const double across = std::hypot(in_camera.x, in_camera.y), angle = std::atan2(across, in_camera.z);
    const double share = across > 0 ? angle / across : 1 / in_camera.z;
    x = in_camera.x * share;
    y = in_camera.y * share;
  }
  const double r2 = x * x + y * y;
  const double radial = 1 + r2 * (camera.k1 + r2 * (camera.k2 + r2 * camera.k3));
  const double xd = x * radial + 2 * camera.p1 * x * y + camera.p2 * (r2 + 2 * x * x);
  const double yd = y * radial + camera.p1 * (r2 + 2 * y * y) + 2 * camera.p2 * x * y;
  return {camera.fx_px * xd + camera.cx_px, camera.fy_px * yd + camera.cy_px};
}

Vec2 project(const Camera& camera, const Pose& pose, Vec3 world) {
  return project(camera, pose.rotation.to_camera(world - pose.centre));
}

Vec3 ray_of(const Camera& camera, Vec2 pixel) {
  const double xd = (pixel.x - camera.cx_px) / camera.fx_px, yd = (pixel.y - camera.cy_px) / camera.fy_px;
  double x = xd, y = yd;
  for (int i = 0; i < 12; ++i) {
    const double r2 = x * x + y * y;
    const double radial = 1 + r2 * (camera.k1 + r2 * (camera.k2 + r2 * camera.k3));
    const double nx = (xd - 2 * camera.p1 * x * y - camera.p2 * (r2 + 2 * x * x)) / radial;
    const double ny = (yd - camera.p1 * (r2 + 2 * y * y) - 2 * camera.p2 * x * y) / radial;
    const double change = std::abs(nx - x) + std::abs(ny - y);
    x = nx;
    y = ny;
    if (change < 1e-7) break;
  }
  if (!camera.fisheye) return {x, y, 1};
  const double angle = std::hypot(x, y);
  const double longer = angle > 0 ? std::tan(std::min(angle, 85 * kPi / 180)) / angle : 1;
  return {x * longer, y * longer, 1};
}

Rotation look_down(double heading, double off_nadir, double tilt_axis) {
  const Rotation level{
      {std::cos(heading), std::sin(heading), 0}, {std::sin(heading), -std::cos(heading), 0}, {0, 0, -1}};
  return turn(level, {std::cos(tilt_axis), std::sin(tilt_axis), 0}, off_nadir);
}

Rotation look_forward(double azimuth, double pitch, double roll, int orientation) {
  const Vec3 forward{std::sin(azimuth) * std::cos(pitch), std::cos(azimuth) * std::cos(pitch),
                     std::sin(pitch)};
  const Vec3 right{std::cos(azimuth), -std::sin(azimuth), 0};
  const Vec3 up = cross(right, forward);
  const Vec3 shown_right = right * std::cos(roll) + up * std::sin(roll);
  const Vec3 shown_down = right * std::sin(roll) - up * std::cos(roll);
  switch (orientation) {
    case 3:
      return {-shown_right, -shown_down, forward};
    case 6:
      return {shown_down, -shown_right, forward};
    case 8:
      return {-shown_down, shown_right, forward};
    default:
      return {shown_right, shown_down, forward};
  }
}

HorizonLine horizon_of(const Camera& camera, const Rotation& rotation, int orientation) {
  const Vec3 up{rotation.right.z, rotation.down.z, rotation.forward.z};  // world up in camera axes
  HorizonLine line{};
  line.a = up.x / camera.fx_px;
  line.b = up.y / camera.fy_px;
  line.c = up.z - line.a * camera.cx_px - line.b * camera.cy_px;
  const double norm = std::hypot(line.a, line.b);
  line.a /= norm;
  line.b /= norm;
  line.c /= norm;
  double shown_x = up.x, shown_y = up.y;
  if (orientation == 3) shown_x = -up.x, shown_y = -up.y;
  if (orientation == 6) shown_x = -up.y, shown_y = up.x;
  if (orientation == 8) shown_x = up.y, shown_y = -up.x;
  line.roll_deg = degrees(std::atan2(shown_x, -shown_y));
  line.pitch_deg = degrees(std::asin(rotation.forward.z));
  const double w = camera.width_px - 1, h = camera.height_px - 1;
  const double sides[4] = {line.c, line.a * w + line.c, line.b * h + line.c,
                           line.a * w + line.b * h + line.c};
  bool above = false, below = false;
  for (const double side : sides) (side > 0 ? above : below) = true;
  line.in_frame = above && below;
  return line;
}

}  // namespace render
