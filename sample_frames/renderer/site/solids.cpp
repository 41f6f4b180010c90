#include "site/solids.h"

#include <algorithm>
#include <utility>

#include "site/noise.h"

namespace render {

std::optional<SolidHit> hit_block(const Block& block, Vec3 from, Vec3 direction) {
  const double c = std::cos(block.heading), s = std::sin(block.heading);
  const Vec3 shifted{from.x - block.centre.x, from.y - block.centre.y, from.z};
  const Vec3 o{c * shifted.x + s * shifted.y, -s * shifted.x + c * shifted.y, shifted.z};
  const Vec3 d{c * direction.x + s * direction.y, -s * direction.x + c * direction.y, direction.z};
  const double low[3] = {-block.half_length_m, -block.half_width_m, block.base_m};
  const double high[3] = {block.half_length_m, block.half_width_m, block.height_m};
  const double origin[3] = {o.x, o.y, o.z}, step[3] = {d.x, d.y, d.z};
  double enter = -1e30, leave = 1e30;
  int axis = 0;
  for (int i = 0; i < 3; ++i) {
    if (std::abs(step[i]) < 1e-12) {
      if (origin[i] < low[i] || origin[i] > high[i]) return std::nullopt;
      continue;
    }
    double near = (low[i] - origin[i]) / step[i], far = (high[i] - origin[i]) / step[i];
    if (near > far) std::swap(near, far);
    if (near > enter) {
      enter = near;
      axis = i;
    }
    leave = std::min(leave, far);
  }
  if (enter > leave || enter <= 1e-6) return std::nullopt;
  const Vec3 p = o + d * enter;
  SolidHit hit{enter, {}, 0, 0, axis == 2};
  Vec3 normal{axis == 0 ? (d.x > 0 ? -1.0 : 1.0) : 0.0, axis == 1 ? (d.y > 0 ? -1.0 : 1.0) : 0.0,
              axis == 2 ? (d.z > 0 ? -1.0 : 1.0) : 0.0};
  hit.normal = {c * normal.x - s * normal.y, s * normal.x + c * normal.y, normal.z};
  hit.u_m = axis == 0 ? p.y : p.x;
  hit.v_m = axis == 2 ? p.y : p.z;
  return hit;
}

std::optional<SolidHit> hit_blob(const Blob& blob, Vec3 from, Vec3 direction) {
  const double squash = blob.radius_m / blob.half_height_m;
  const Vec3 o{from.x - blob.centre.x, from.y - blob.centre.y, (from.z - blob.centre.z) * squash};
  const Vec3 d{direction.x, direction.y, direction.z * squash};
  const double a = dot(d, d), b = dot(o, d), c = dot(o, o) - blob.radius_m * blob.radius_m;
  const double inside = b * b - a * c;
  if (inside < 0) return std::nullopt;
  const double root = std::sqrt(inside);
  const double t = (-b - root) / a;
  if (t <= 1e-6) return std::nullopt;
  const Vec3 p = o + d * t;
  SolidHit hit{t, unit({p.x, p.y, p.z * squash}), 0, 0, false};
  if (blob.leafy) {
    // Leaves thin out towards the rim: the outline is ragged, not a circle.
    const double rim = root / (std::sqrt(a) * blob.radius_m);
    const float leaf = fractal_noise(static_cast<float>(p.x / 0.11),
                                     static_cast<float>((p.y + 0.7 * p.z) / 0.11), 2, blob.seed);
    if (rim < 0.62 * leaf + 0.05) return std::nullopt;
  }
  return hit;
}

std::optional<SolidHit> hit_rod(const Rod& rod, Vec3 from, Vec3 direction) {
  const Vec3 axis = rod.to - rod.from;
  const Vec3 w = from - rod.from;
  const double a = dot(direction, direction), b = dot(direction, axis), c = dot(axis, axis);
  const double d = dot(direction, w), e = dot(axis, w);
  const double det = a * c - b * b;
  if (det < 1e-12) return std::nullopt;
  const double along = std::clamp((a * e - b * d) / det, 0.0, 1.0);
  const double t = (along * b - d) / a;
  if (t <= 1e-6) return std::nullopt;
  const Vec3 off = w + direction * t - axis * along;
  const double distance = length(off);
  if (distance > rod.radius_m) return std::nullopt;
  return SolidHit{t, distance > 1e-9 ? off * (1 / distance) : Vec3{0, 0, 1}, 0, 0, false};
}

}  // namespace render
