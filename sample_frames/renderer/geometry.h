// Small vector types of the renderer. World: x east, y north, z up, metres; camera: x right, y down, z
// forward.
#pragma once

#include <array>
#include <cmath>
#include <numbers>

namespace render {

inline constexpr double kPi = std::numbers::pi;
inline double radians(double deg) {
  return deg * kPi / 180.0;
}
inline double degrees(double rad) {
  return rad * 180.0 / kPi;
}

struct Vec2 {
  double x = 0, y = 0;
};
inline Vec2 operator+(Vec2 a, Vec2 b) {
  return {a.x + b.x, a.y + b.y};
}
inline Vec2 operator-(Vec2 a, Vec2 b) {
  return {a.x - b.x, a.y - b.y};
}
inline Vec2 operator*(Vec2 a, double s) {
  return {a.x * s, a.y * s};
}
inline double dot(Vec2 a, Vec2 b) {
  return a.x * b.x + a.y * b.y;
}
inline double length(Vec2 a) {
  return std::hypot(a.x, a.y);
}

struct Vec3 {
  double x = 0, y = 0, z = 0;
};
inline Vec3 operator+(Vec3 a, Vec3 b) {
  return {a.x + b.x, a.y + b.y, a.z + b.z};
}
inline Vec3 operator-(Vec3 a, Vec3 b) {
  return {a.x - b.x, a.y - b.y, a.z - b.z};
}
inline Vec3 operator-(Vec3 a) {
  return {-a.x, -a.y, -a.z};
}
inline Vec3 operator*(Vec3 a, double s) {
  return {a.x * s, a.y * s, a.z * s};
}
inline double dot(Vec3 a, Vec3 b) {
  return a.x * b.x + a.y * b.y + a.z * b.z;
}
inline Vec3 cross(Vec3 a, Vec3 b) {
  return {a.y * b.z - a.z * b.y, a.z * b.x - a.x * b.z, a.x * b.y - a.y * b.x};
}
inline double length(Vec3 a) {
  return std::sqrt(dot(a, a));
}
inline Vec3 unit(Vec3 a) {
  return a * (1.0 / length(a));
}

// Rotation whose columns are the camera axes in the world: world = right * x + down * y + forward * z.
struct Rotation {
  Vec3 right{1, 0, 0}, down{0, -1, 0}, forward{0, 0, -1};

  Vec3 to_world(Vec3 camera) const { return right * camera.x + down * camera.y + forward * camera.z; }
  Vec3 to_camera(Vec3 world) const { return {dot(right, world), dot(down, world), dot(forward, world)}; }
  std::array<double, 9> row_major() const {
    return {right.x, down.x, forward.x, right.y, down.y, forward.y, right.z, down.z, forward.z};
  }
};

// Rodrigues rotation of `v` about the unit `axis`, counter-clockwise seen against the axis.
inline Vec3 turn(Vec3 v, Vec3 axis, double angle) {
  const double c = std::cos(angle), s = std::sin(angle);
  return v * c + cross(axis, v) * s + axis * (dot(axis, v) * (1 - c));
}
inline Rotation turn(const Rotation& r, Vec3 axis, double angle) {
  return {turn(r.right, axis, angle), turn(r.down, axis, angle), turn(r.forward, axis, angle)};
}

// Linear-light colour. 1 = a white horizontal diffuser in full sun.
struct Rgb {
  float r = 0, g = 0, b = 0;
};
inline Rgb operator+(Rgb a, Rgb b) {
  return {a.r + b.r, a.g + b.g, a.b + b.b};
}
inline Rgb operator*(Rgb a, Rgb b) {
  return {a.r * b.r, a.g * b.g, a.b * b.b};
}
inline Rgb operator*(Rgb a, float s) {
  return {a.r * s, a.g * s, a.b * s};
}
inline Rgb mix(Rgb a, Rgb b, float t) {
  return a * (1 - t) + b * t;
}
// Rec. 709 luminance.
inline float luminance(Rgb c) {
  return 0.2126F * c.r + 0.7152F * c.g + 0.0722F * c.b;
}

inline float clamp01(float v) {
  return v < 0 ? 0 : (v > 1 ? 1 : v);
}
inline float smoothstep(float lo, float hi, float v) {
  const float t = clamp01((v - lo) / (hi - lo));
  return t * t * (3 - 2 * t);
}

}  // namespace render
