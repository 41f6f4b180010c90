#include <fmt/format.h>
#include <Eigen/Dense>
#include <algorithm>
#include <cmath>

#include "stages/rectify/ground_resolution.h"
#include "stages/rectify/rectify.h"

namespace lookdown::rectify {
namespace {

constexpr int kGrid = 160;  // steps across the frame when looking for the part worth showing

Fault fault(std::string detail, std::string hint) {
  return {"rectify", "frame", std::move(detail), std::move(hint)};
}

struct GridPoint {
  Point2<Ground> ground;
  double longest = 0, shortest = 0;
};

/// The frame on a grid, only where the ground is seen and the lens model holds.
std::vector<GridPoint> ground_grid(const Camera& camera, const Homography<Ground, UndistortedPx>& h) {
  std::vector<GridPoint> grid;
  const double reach = camera.monotonic_radius_px();
  for (int row = 0; row <= kGrid; ++row)
    for (int column = 0; column <= kGrid; ++column) {
      const Point2<StoredPx> stored{(camera.width_px - 1.0) * column / kGrid,
                                    (camera.height_px - 1.0) * row / kGrid};
      const auto p = camera.undistort(stored);
      if (!std::isfinite(p.x) || !std::isfinite(p.y) ||
          std::hypot(p.x - camera.cx_px, p.y - camera.cy_px) >= reach)
        continue;
      if (h.depth(p) <= 0) continue;
      const auto size = footprint(h, p);
      if (std::isfinite(size.longest) && size.shortest > 0)
        grid.push_back({h * p, size.longest, size.shortest});
    }
  return grid;
}

/// Extent and canvas of the part with good enough ground resolution.
Result<GroundView> view_of(const Camera& camera, const Homography<Ground, UndistortedPx>& h,
                           const Options& options) {
  const auto grid = ground_grid(camera, h);
  if (grid.empty()) return fault("no ground is seen in it", "check the tilt and the height");
  double best = grid.front().longest;
  for (const auto& point : grid) best = std::min(best, point.longest);
  GroundView view;
  view.camera = camera;
  view.ground_from_frame = h;
  view.gsd = options.gsd_m.value_or(best);
  view.coarsest_gsd = best * options.coarsest_factor;
  view.x_min = view.y_min = INFINITY;
  view.x_max = view.y_max = -INFINITY;
  for (const auto& point : grid) {
    if (point.longest > view.coarsest_gsd) continue;
    view.x_min = std::min(view.x_min, point.ground.x);
    view.x_max = std::max(view.x_max, point.ground.x);
    view.y_min = std::min(view.y_min, point.ground.y);
    view.y_max = std::max(view.y_max, point.ground.y);
  }
  const double columns = std::ceil((view.x_max - view.x_min) / view.gsd),
               rows = std::ceil((view.y_max - view.y_min) / view.gsd);
  if (!(columns >= 1 && rows >= 1)) return fault("its ground has no extent", "check the marks");
  const double megapixels = columns * rows / 1e6;
  if (!(megapixels <= options.max_megapixels) || columns > 1e6 || rows > 1e6)
    return fault(fmt::format("its ground picture would have {:.0f} megapixels, more than the {:.0f} allowed",
                             megapixels, options.max_megapixels),
                 "choose a larger ground sample distance or a smaller coarsest factor");
  view.width_px = static_cast<int>(columns);
  view.height_px = static_cast<int>(rows);
  return view;
}

/// Unit line through an edge after the lens distortion is taken out.
Eigen::Vector3d line_of(const Camera& camera, const FrameEdge& edge) {
  const auto a = camera.undistort(edge.from), b = camera.undistort(edge.to);
  // Pixels are scaled by the focal length, so that the three coordinates weigh alike.
  const Eigen::Vector3d line = camera.ray(a).cross(camera.ray(b));
  return line.normalized();
}

/// Direction in camera axes of a family of parallels: the null direction of its lines' planes.
std::optional<Eigen::Vector3d> common_direction(const Camera& camera, const std::vector<FrameEdge>& edges) {
  if (edges.size() < 2) return std::nullopt;
  Eigen::Matrix3d scatter = Eigen::Matrix3d::Zero();
  for (const auto& edge : edges) {
    const Eigen::Vector3d line = line_of(camera, edge);
    const auto a = camera.undistort(edge.from), b = camera.undistort(edge.to);
    const double length = std::hypot(a.x - b.x, a.y - b.y);
    scatter += length * length * line * line.transpose();
  }
  const Eigen::SelfAdjointEigenSolver<Eigen::Matrix3d> solver(scatter);
  return solver.eigenvectors().col(0);
}

}  // namespace

PixelFootprint footprint(const Homography<Ground, UndistortedPx>& h, const Point2<UndistortedPx>& p) {
  const Eigen::Vector3d q = h.matrix * Eigen::Vector3d(p.x, p.y, 1);
  Eigen::Matrix2d jacobian;
  for (int row = 0; row < 2; ++row)
    for (int column = 0; column < 2; ++column)
      jacobian(row, column) = (h.matrix(row, column) - q(row) / q.z() * h.matrix(2, column)) / q.z();
  const double square = jacobian.squaredNorm(), area = std::abs(jacobian.determinant());
  const double root = std::sqrt(std::max(0.0, square * square - 4 * area * area));
  return {std::sqrt(0.5 * (square + root)), std::sqrt(std::max(0.0, 0.5 * (square - root)))};
}

Pose pose_from_down(const Eigen::Vector3d& down, double height_m) {
  const Eigen::Vector3d up = -down.normalized();
  Eigen::Vector3d top(0, -1, 0);
  // A camera that looks along the top of its frame has no heading from it: take where it looks instead.
  if (std::abs(top.dot(up)) > 0.9) top = Eigen::Vector3d(0, 0, 1);
  const Eigen::Vector3d north = (top - top.dot(up) * up).normalized();
  Pose pose;
  pose.world_from_camera.row(0) = north.cross(up).transpose();
  pose.world_from_camera.row(1) = north.transpose();
  pose.world_from_camera.row(2) = up.transpose();
  pose.centre = Eigen::Vector3d(0, 0, height_m);
  return pose;
}

Result<GroundView> view_from_pose(const Camera& camera, const Pose& pose, const Options& options) {
  if (!(pose.centre.z() > options.plane_height_m))
    return fault("the camera is not above the plane", "lower the plane height");
  // Its third coordinate is one over the depth: positive where the ground is ahead of the camera.
  const auto h = ground_from_frame(pose, camera, options.plane_height_m);
  return view_of(camera, h, options);
}

Result<GroundView> view_from_marks(const Camera& camera, const std::vector<Point2<StoredPx>>& marks,
                                   const std::vector<Point2<Ground>>& positions, const Options& options) {
  std::vector<Point2<UndistortedPx>> straight;
  straight.reserve(marks.size());
  for (const auto& mark : marks) straight.push_back(camera.undistort(mark));
  const auto h = fit_homography(straight, positions);
  if (!h) return h.error();
  return view_of(camera, *h, options);
}

Result<GroundView> view_from_rectangle(const Camera& camera, const std::array<Point2<StoredPx>, 4>& corners,
                                       double width, double height, const Options& options) {
  if (!(width > 0 && height > 0))
    return fault("the sides of the rectangle are not positive", "give both sides in metres");
  return view_from_marks(camera, {corners.begin(), corners.end()},
                         {{0, 0}, {width, 0}, {width, height}, {0, height}}, options);
}

Result<GroundView> view_from_parallels(const Camera& camera, const std::vector<FrameEdge>& first,
                                       const std::vector<FrameEdge>& second, const Options& options) {
  auto east = common_direction(camera, first), other = common_direction(camera, second);
  if (!east || !other)
    return fault("a family of parallels has fewer than two edges", "mark at least two edges a family");
  Eigen::Vector3d up = east->cross(*other);
  if (up.norm() < 0.05)
    return fault("the two families run the same way", "mark edges that cross, best at a right angle");
  up.normalize();
  if (up.z() > 0) up = -up;  // the camera looks down on the plane
  if (east->x() < 0) *east = -*east;
  Pose pose;
  pose.world_from_camera.row(0) = east->transpose();
  pose.world_from_camera.row(1) = up.cross(*east).transpose();
  pose.world_from_camera.row(2) = up.transpose();
  pose.centre = Eigen::Vector3d(0, 0, options.height_m.value_or(1.0) + options.plane_height_m);
  return view_from_pose(camera, pose, options);
}

}  // namespace lookdown::rectify
