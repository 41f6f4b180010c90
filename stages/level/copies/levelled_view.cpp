#include "stages/level/copies/levelled_view.h"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>

#include "stages/level/copies/display_turn.h"

namespace lookdown::level {
namespace {

constexpr int kOutlinePoints = 96;  // a side, for testing that a rectangle shows only the frame

Eigen::Matrix3d stored_from_displayed(int orientation) {
  Eigen::Matrix3d turn = Eigen::Matrix3d::Identity();
  turn.topLeftCorner<2, 2>() = display_from_stored(orientation).transpose();
  return turn;
}

/// The frame's region is in one piece, so a rectangle whose outline lies in it shows nothing else.
bool is_clean(const LevelledView& view, const ViewRectangle& r) {
  for (int i = 0; i <= kOutlinePoints; ++i) {
    const double t = static_cast<double>(i) / kOutlinePoints;
    const double x = r.x_min + t * r.width(), y = r.y_min + t * r.height();
    if (!view.source_of(x, r.y_min) || !view.source_of(x, r.y_max) || !view.source_of(r.x_min, y) ||
        !view.source_of(r.x_max, y))
      return false;
  }
  return true;
}

ViewRectangle around(const Eigen::Vector2d& centre, double half_width, double aspect) {
  return {centre.x() - half_width, centre.y() - half_width / aspect, centre.x() + half_width,
          centre.y() + half_width / aspect};
}

/// Largest half width about a centre, by bisection; 0 when the centre itself shows nothing.
double largest_half_width(const LevelledView& view, const Eigen::Vector2d& centre, double aspect,
                          double limit) {
  if (!view.source_of(centre.x(), centre.y())) return 0;
  double fits = 0, too_large = limit;
  while (too_large - fits > 0.25) {
    const double half = 0.5 * (fits + too_large);
    (is_clean(view, around(centre, half, aspect)) ? fits : too_large) = half;
  }
  return fits;
}

/// Area of the frame that a clean rectangle shows, from its corners.
double shown_area(const LevelledView& view, const ViewRectangle& r) {
  const double xs[] = {r.x_min, r.x_max, r.x_max, r.x_min}, ys[] = {r.y_min, r.y_min, r.y_max, r.y_max};
  double twice = 0;
  for (int i = 0; i < 4; ++i) {
    const auto here = view.source_of(xs[i], ys[i]), next = view.source_of(xs[(i + 1) % 4], ys[(i + 1) % 4]);
    if (!here || !next) return 0;
    twice += here->x * next->y - next->x * here->y;
  }
  return 0.5 * std::abs(twice);
}

/// The largest clean rectangle about one centre.
struct Placed {
  Eigen::Vector2d centre;
  double half_width = 0;
  double shown_px =
      0;  ///< area of the frame in it: an upright view stretches the foreground, which is not worth more
};
Placed place_at(const LevelledView& view, const Eigen::Vector2d& centre, double aspect, double limit) {
  Placed placed{centre, largest_half_width(view, centre, aspect, limit), 0};
  if (placed.half_width > 0) placed.shown_px = shown_area(view, around(centre, placed.half_width, aspect));
  return placed;
}

}  // namespace

std::optional<Point2<StoredPx>> LevelledView::source_of(double x, double y) const {
  const Eigen::Vector3d p = frame_from_view * Eigen::Vector3d(x, y, 1);
  if (p.z() <= 1e-9) return std::nullopt;
  const Point2<UndistortedPx> straight{p.x() / p.z(), p.y() / p.z()};
  Point2<StoredPx> stored{straight.x, straight.y};
  if (camera.has_distortion()) {
    if (std::hypot(straight.x - camera.cx_px, straight.y - camera.cy_px) >= lens_reach_px)
      return std::nullopt;
    stored = camera.distort(straight);
  }
  if (stored.x < 0 || stored.y < 0 || stored.x > camera.width_px - 1 || stored.y > camera.height_px - 1)
    return std::nullopt;
  return stored;
}

LevelledView turned_view(const Camera& camera, double roll_rad, int orientation) {
  Eigen::Matrix3d centre = Eigen::Matrix3d::Identity(), turn = Eigen::Matrix3d::Identity();
  centre(0, 2) = 0.5 * (camera.width_px - 1);
  centre(1, 2) = 0.5 * (camera.height_px - 1);
  const double c = std::cos(roll_rad), s = std::sin(roll_rad);
  turn.topLeftCorner<2, 2>() << c, -s, s, c;
  return {camera, centre * stored_from_displayed(orientation) * turn, camera.monotonic_radius_px()};
}

LevelledView upright_view(const Camera& camera, const Eigen::Vector3d& down, int orientation) {
  const Eigen::Vector3d axis(0, 0, 1);
  Eigen::Vector3d view_y, view_z;
  if (down.z() > std::sqrt(0.5)) {
    const Eigen::Vector3d shown_down = stored_from_displayed(orientation) * Eigen::Vector3d(0, 1, 0);
    view_z = down;
    view_y = (shown_down - shown_down.dot(down) * down).normalized();
  } else {
    view_y = down;
    view_z = (axis - axis.dot(down) * down).normalized();
  }
  Eigen::Matrix3d camera_from_view;
  camera_from_view << view_y.cross(view_z), view_y, view_z;
  // A mirrored frame (orientations 2, 4, 5, 7) is shown mirrored.
  if (display_from_stored(orientation).determinant() < 0) camera_from_view.col(0) *= -1;
  Eigen::Matrix3d view_matrix = Eigen::Matrix3d::Identity();
  view_matrix(0, 0) = view_matrix(1, 1) = camera.fx_px;
  return {camera, camera.matrix() * camera_from_view * view_matrix.inverse(), camera.monotonic_radius_px()};
}

std::optional<ViewRectangle> largest_clean_rectangle(const LevelledView& view, double aspect) {
  const double diagonal = std::hypot(view.camera.width_px, view.camera.height_px);
  const Eigen::Matrix3d view_from_frame = view.frame_from_view.inverse();
  const Eigen::Vector3d middle = view_from_frame * Eigen::Vector3d(0.5 * (view.camera.width_px - 1),
                                                                   0.5 * (view.camera.height_px - 1), 1);
  Placed best = place_at(
      view, std::abs(middle.z()) > 1e-12 ? Eigen::Vector2d(middle.hnormalized()) : Eigen::Vector2d::Zero(),
      aspect, diagonal);
  for (double step = 0.1 * diagonal; step > 0.5; step *= 0.5)
    for (bool moved = true; moved;) {
      moved = false;
      for (const Eigen::Vector2d& way :
           {Eigen::Vector2d(1, 0), Eigen::Vector2d(-1, 0), Eigen::Vector2d(0, 1), Eigen::Vector2d(0, -1)}) {
        const Placed tried = place_at(view, best.centre + step * way, aspect, diagonal);
        if (tried.shown_px > best.shown_px * (1 + 1e-4) + 1) {
          best = tried;
          moved = true;
        }
      }
    }
  if (2 * best.half_width < 16 || 2 * best.half_width / aspect < 16) return std::nullopt;
  return around(best.centre, best.half_width, aspect);
}

ViewRectangle whole_frame_rectangle(const LevelledView& view) {
  const double limit = 2.5 * std::hypot(view.camera.width_px, view.camera.height_px);
  const Eigen::Matrix3d view_from_frame = view.frame_from_view.inverse();
  ViewRectangle r{limit, limit, -limit, -limit};
  const auto take = [&](double x, double y) {
    const auto straight = view.camera.undistort({x, y});
    Eigen::Vector3d p = view_from_frame * Eigen::Vector3d(straight.x, straight.y, 1);
    // frame_from_view has positive depth ahead; its inverse keeps that sign for what the view can show.
    const double depth = std::max(p.z(), 1e-6);
    r.x_min = std::min(r.x_min, std::clamp(p.x() / depth, -limit, limit));
    r.x_max = std::max(r.x_max, std::clamp(p.x() / depth, -limit, limit));
    r.y_min = std::min(r.y_min, std::clamp(p.y() / depth, -limit, limit));
    r.y_max = std::max(r.y_max, std::clamp(p.y() / depth, -limit, limit));
  };
  for (int i = 0; i <= kOutlinePoints; ++i) {
    const double t = static_cast<double>(i) / kOutlinePoints;
    const double x = t * (view.camera.width_px - 1), y = t * (view.camera.height_px - 1);
    take(x, 0);
    take(x, view.camera.height_px - 1);
    take(0, y);
    take(view.camera.width_px - 1, y);
  }
  return r;
}

}  // namespace lookdown::level
