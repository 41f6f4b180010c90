#include <algorithm>
#include <limits>

#include "site/site.h"

namespace render {
namespace {

struct SegmentFoot {
  double distance_m, along_m, across_m;
};

SegmentFoot foot_on_segment(Vec2 a, Vec2 b, Vec2 at) {
  const Vec2 ab = b - a;
  const double span = length(ab);
  const double t = std::clamp(dot(at - a, ab) / (span * span), 0.0, 1.0);
  const Vec2 off = at - (a + ab * t);
  const double side = ab.x * (at.y - a.y) - ab.y * (at.x - a.x);
  return {length(off), t * span, side / span};
}

}  // namespace

EdgeDistance distance_to_edge(const Patch& patch, Vec2 at) {
  EdgeDistance result{std::numeric_limits<double>::max(), 0, 0};
  const size_t count = patch.points.size();
  if (patch.half_width_m > 0) {
    double before = 0;
    for (size_t i = 0; i + 1 < count; ++i) {
      const SegmentFoot foot = foot_on_segment(patch.points[i], patch.points[i + 1], at);
      if (foot.distance_m < result.signed_m) result = {foot.distance_m, before + foot.along_m, foot.across_m};
      before += length(patch.points[i + 1] - patch.points[i]);
    }
    result.signed_m -= patch.half_width_m;
    return result;
  }
  bool inside = false;
  for (size_t i = 0, j = count - 1; i < count; j = i++) {
    const Vec2 a = patch.points[i], b = patch.points[j];
    result.signed_m = std::min(result.signed_m, foot_on_segment(a, b, at).distance_m);
    if ((a.y > at.y) != (b.y > at.y) && at.x < (b.x - a.x) * (at.y - a.y) / (b.y - a.y) + a.x)
      inside = !inside;
  }
  if (inside) result.signed_m = -result.signed_m;
  result.signed_m -= patch.grow_m;
  return result;
}

}  // namespace render
