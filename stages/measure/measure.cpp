#include "stages/measure/measure.h"

#include <algorithm>
#include <cmath>

namespace lookdown::measure {
namespace {

constexpr double kPointingPx = 0.5;  // common practice: a corner is marked to about half a pixel

struct Arrow {
  double x, y;
};

Arrow arrow(const Corner& from, const Corner& to) {
  return {to.x - from.x, to.y - from.y};
}
double length(const Arrow& a) {
  return std::hypot(a.x, a.y);
}

/// Length of a chain of corners, and the sum over corners of the squared derivative of the length by that
/// corner.
struct Chain {
  double length = 0, sensitivity = 0;
};

Chain chain_of(const std::vector<Corner>& corners, bool closed) {
  Chain chain;
  const std::size_t count = corners.size(), sides = closed ? count : count - 1;
  std::vector<Arrow> by_corner(count, {0, 0});
  for (std::size_t i = 0; i < sides; ++i) {
    const std::size_t j = (i + 1) % count;
    const Arrow side = arrow(corners[i], corners[j]);
    const double long_ = length(side);
    chain.length += long_;
    if (long_ <= 0) continue;
    by_corner[i].x -= side.x / long_, by_corner[i].y -= side.y / long_;
    by_corner[j].x += side.x / long_, by_corner[j].y += side.y / long_;
  }
  for (const Arrow& a : by_corner) chain.sensitivity += a.x * a.x + a.y * a.y;
  return chain;
}

/// Gauss's area formula, and the sum over corners of the squared derivative.
Chain surface_of(const std::vector<Corner>& corners) {
  Chain surface;
  const std::size_t count = corners.size();
  for (std::size_t i = 0; i < count; ++i) {
    const Corner &before = corners[(i + count - 1) % count], &after = corners[(i + 1) % count];
    // About the first corner, or large coordinates would eat the digits.
    surface.length += 0.5 * ((corners[i].x - corners[0].x) * (after.y - corners[0].y) -
                             (after.x - corners[0].x) * (corners[i].y - corners[0].y));
    const Arrow across = arrow(before, after);
    surface.sensitivity += 0.25 * (across.x * across.x + across.y * across.y);
  }
  surface.length = std::abs(surface.length);
  return surface;
}

std::optional<double> combined(double sensitivity, const std::optional<double>& corner_sigma,
                               double scale_effect, const Ground& ground) {
  if (!corner_sigma) return std::nullopt;
  // A metric length without a word on its scale would look surer than it is.
  if (ground.metric && !ground.scale_sigma_share && !ground.datum_sigma) return std::nullopt;
  const double by_scale = scale_effect * ground.scale_sigma_share.value_or(0);
  return std::sqrt(sensitivity * *corner_sigma * *corner_sigma + by_scale * by_scale);
}

}  // namespace

Measured measure(const Shape& given, const Ground& ground, bool given_in_px) {
  Measured result;
  result.shape = given;
  for (Corner& corner : result.shape.corners) {
    const Corner px = given_in_px ? corner : ground.px_from_ground(corner);
    if (given_in_px) corner = ground.ground_from_px(corner);
    result.corners_px.push_back(px);
    result.on_mosaic &=
        px.x >= -0.5 && px.y >= -0.5 && px.x <= ground.width_px - 0.5 && px.y <= ground.height_px - 0.5;
  }
  std::optional<double> corner_sigma;
  if (ground.point_sigma) corner_sigma = std::hypot(*ground.point_sigma, kPointingPx * ground.unit_per_px());
  if (given.kind == Kind::point) {
    result.point_sigma = corner_sigma;
    return result;
  }
  const Chain outline = chain_of(result.shape.corners, given.kind == Kind::area);
  result.length = Value{outline.length, combined(outline.sensitivity, corner_sigma, outline.length, ground)};
  if (given.kind == Kind::area) {
    const Chain surface = surface_of(result.shape.corners);
    result.area =
        Value{surface.length, combined(surface.sensitivity, corner_sigma, 2 * surface.length, ground)};
  }
  return result;
}

void describe(Options& options, OptionVisitor& visitor) {
  visitor.option({.name = "point", .help = "a position; may be repeated", .element = "X,Y"}, options.points);
  visitor.option(
      {.name = "line", .help = "a length along corners; may be repeated", .element = "\"X,Y X,Y ...\""},
      options.lines);
  visitor.option({.name = "area", .help = "an outline; may be repeated", .element = "\"X,Y X,Y X,Y ...\""},
                 options.areas);
  visitor.option({.name = "shapes-file", .help = "a CSV table (name,kind,x,y) or a GeoJSON file of shapes"},
                 options.shapes_file);
  visitor.option({.name = "coordinates",
                  .help = "what the numbers are: ground units of the mosaic, or its pixels",
                  .choices = {"ground", "px"}},
                 options.coordinates);
  visitor.option({.name = "profile",
                  .help = "heights along each line where the flight tells them: level difference and slope "
                          "length, and with -o profile.csv and profile.svg"},
                 options.profile);
  visitor.option(
      {.name = "volume",
       .help = "what lies above and below the plane through each area's outline, an estimate and no "
               "survey"},
      options.volume);
  visitor.option({.name = "gsd-profile",
                  .help = "also tell how large the frames' own pixels are on the ground, over the mosaic"},
                 options.gsd_profile);
}

}  // namespace lookdown::measure
