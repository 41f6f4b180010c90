#include "stages/mosaic/geometry/frame_view.h"

#include <Eigen/Geometry>
#include <Eigen/LU>
#include <algorithm>
#include <cmath>

#include "pipeline/record/mosaic_grid.h"
#include "pipeline/record/program_verdict.h"
#include "stages/mosaic/geometry/occlusion.h"

namespace lookdown::mosaic {
namespace {

constexpr int kGridSide = 48;  // nodes along each side of a frame when its outline on the mosaic is sought

Point2<UndistortedPx> grid_point(const FrameView& view, int column, int row) {
  const double x = (view.camera.width_px - 1.0) * column / kGridSide;
  const double y = (view.camera.height_px - 1.0) * row / kGridSide;
  return view.camera.has_distortion() ? view.camera.undistort({x, y}) : Point2<UndistortedPx>{x, y};
}

// Both matrices are known up to a factor only; its sign is chosen so that ground in front of the camera has
// positive depth.
void orient(FrameView& view, const Pose& pose) {
  int positive = 0, negative = 0;
  for (int row = 0; row <= kGridSide; row += 4)
    for (int column = 0; column <= kGridSide; column += 4) {
      const auto p = grid_point(view, column, row);
      if ((pose.world_from_camera * view.camera.ray(p)).z() > -0.05) continue;  // at or above the horizon
      const Eigen::Vector3d q = view.mosaic_from_frame * Eigen::Vector3d(p.x, p.y, 1);
      (q.z() > 0 ? positive : negative)++;
    }
  if (negative > positive) view.mosaic_from_frame = -view.mosaic_from_frame;
  // For m = H u / depth the inverse gives u with depth 1 / depth: signs agree once the inverse is taken of
  // the oriented matrix.
  view.frame_from_mosaic = view.mosaic_from_frame.inverse();
}

/// Canvas box round what the frame shows of the plane at `height`.
void widen_by_plane(const FrameView& view, double height, cv::Rect2d& box) {
  Eigen::Matrix3d frame_from_plane = view.frame_from_mosaic;
  frame_from_plane.col(2) += height * view.frame_per_height;
  const Eigen::Matrix3d plane_from_frame = frame_from_plane.inverse();
  const double determinant = std::abs(frame_from_plane.determinant());
  double left = 1e30, top = 1e30, right = -1e30, bottom = -1e30, cell = 0;
  std::vector<cv::Point2d> previous(kGridSide + 1);
  std::vector<char> previous_seen(kGridSide + 1, 0);
  for (int row = 0; row <= kGridSide; ++row)
    for (int column = 0; column <= kGridSide; ++column) {
      const auto p = grid_point(view, column, row);
      const Eigen::Vector3d q = plane_from_frame * Eigen::Vector3d(p.x, p.y, 1);
      const cv::Point2d m(q.x() / q.z(), q.y() / q.z());
      // The scale is that of `sight`, by the depth 1 / q.z.
      const bool in_reach =
          std::hypot(p.x - view.camera.cx_px, p.y - view.camera.cy_px) <= view.lens_reach_px;
      const bool seen =
          in_reach && q.z() > 0 && std::sqrt(determinant * q.z() * q.z() * q.z()) > 0.5 * kLeastScale;
      if (seen) {
        left = std::min(left, m.x), right = std::max(right, m.x);
        top = std::min(top, m.y), bottom = std::max(bottom, m.y);
        if (previous_seen[column]) cell = std::max(cell, cv::norm(m - previous[column]));
      }
      previous[column] = m;
      previous_seen[column] = seen;
    }
  if (left > right) return;
  const cv::Rect2d found(left - cell, top - cell, right - left + 2 * cell, bottom - top + 2 * cell);
  box = box.empty() ? found : box | found;
}

cv::Rect usable_box(const FrameView& view, const Canvas& canvas) {
  cv::Rect2d box;
  widen_by_plane(view, 0, box);
  if (view.surface != nullptr)
    for (const double height : {view.surface->lowest, view.surface->highest})
      if (height < 0.9 * view.camera_height) widen_by_plane(view, height, box);
  if (box.empty()) return {};
  const auto clamp_to = [](double value, int size) {
    return static_cast<int>(std::clamp(value, 0.0, static_cast<double>(size)));
  };
  const int x0 = clamp_to(std::floor(box.x), canvas.width_px),
            x1 = clamp_to(std::ceil(box.br().x) + 1, canvas.width_px);
  const int y0 = clamp_to(std::floor(box.y), canvas.height_px),
            y1 = clamp_to(std::ceil(box.br().y) + 1, canvas.height_px);
  return {x0, y0, x1 - x0, y1 - y0};
}

/// The exact view of the surface, whatever plane the placement's own map of the frame lies on: what a unit of
/// height moves in the frame, and where the surface hides itself.
void look_down_on(const surface::HeightGrid& surface, const Canvas& canvas, const Pose& pose,
                  const Eigen::Matrix3d& canvas_from_ground, FrameView& view) {
  view.surface = &surface;
  view.canvas_per_placed = canvas.canvas_per_placed;
  view.camera_height = pose.centre.z();
  const Eigen::Matrix3d turn = view.camera.matrix() * pose.world_from_camera.transpose();
  Eigen::Matrix3d frame_from_ground;
  frame_from_ground << turn.col(0), turn.col(1), -turn * pose.centre;
  view.frame_from_mosaic = frame_from_ground * canvas_from_ground.inverse() * canvas_from_ground(2, 2);
  view.mosaic_from_frame = view.frame_from_mosaic.inverse();
  view.frame_per_height = turn.col(2);
}

}  // namespace

Sighting FrameView::sight(double mosaic_x_px, double mosaic_y_px) const {
  Sighting seen;
  const double height = height_at(mosaic_x_px, mosaic_y_px);
  const Eigen::Vector3d q =
      frame_from_mosaic * Eigen::Vector3d(mosaic_x_px, mosaic_y_px, 1) + height * frame_per_height;
  if (!(q.z() > 0)) return seen;
  const Point2<UndistortedPx> ideal{q.x() / q.z(), q.y() / q.z()};
  if (std::hypot(ideal.x - camera.cx_px, ideal.y - camera.cy_px) > lens_reach_px) return seen;
  const Point2<StoredPx> stored =
      camera.has_distortion() ? camera.distort(ideal) : Point2<StoredPx>{ideal.x, ideal.y};
  seen.x_px = stored.x;
  seen.y_px = stored.y;
  // Determinant of the Jacobian of a homography: det(H) / depth^3; of that of a raised plane det(H) shrinks
  // with the camera's height over it.
  const double nearer = surface == nullptr ? 1 : std::max(0.01, 1 - height / camera_height);
  seen.frame_px_per_mosaic_px =
      std::sqrt(std::abs(frame_from_mosaic.determinant()) * nearer / (q.z() * q.z() * q.z()));
  seen.in_view = stored.x >= 0 && stored.y >= 0 && stored.x <= camera.width_px - 1 &&
                 stored.y <= camera.height_px - 1 && seen.frame_px_per_mosaic_px >= kLeastScale &&
                 tan_view_angle(mosaic_x_px, mosaic_y_px) <= kMostTanViewAngle &&
                 !rides_along({stored.x, stored.y});
  seen.usable = seen.in_view && !is_hidden(mosaic_x_px, mosaic_y_px);
  return seen;
}

cv::Point2d FrameView::position(double mosaic_x_px, double mosaic_y_px) const {
  const cv::Point2d shift = bend.at(mosaic_x_px, mosaic_y_px);
  const Eigen::Vector3d q =
      frame_from_mosaic * Eigen::Vector3d(mosaic_x_px + shift.x, mosaic_y_px + shift.y, 1) +
      height_at(mosaic_x_px + shift.x, mosaic_y_px + shift.y) * frame_per_height;
  // Behind the camera nothing is meaningful; the pixels are only filling under another frame's mask.
  if (!(q.z() > 1e-9)) return {0, 0};
  Point2<UndistortedPx> ideal{q.x() / q.z(), q.y() / q.z()};
  const double radius = std::hypot(ideal.x - camera.cx_px, ideal.y - camera.cy_px);
  if (radius > lens_reach_px) {
    ideal.x = camera.cx_px + (ideal.x - camera.cx_px) * lens_reach_px / radius;
    ideal.y = camera.cy_px + (ideal.y - camera.cy_px) * lens_reach_px / radius;
  }
  const Point2<StoredPx> stored =
      camera.has_distortion() ? camera.distort(ideal) : Point2<StoredPx>{ideal.x, ideal.y};
  return {std::clamp(stored.x, -1e6, 1e6), std::clamp(stored.y, -1e6, 1e6)};
}

bool FrameView::rides_along(const cv::Point2d& frame_px) const {
  if (riding.empty()) return false;
  const auto along = [](double px, int length_px, int squares) {
    return std::clamp(static_cast<int>((px + 0.5) * squares / length_px), 0, squares - 1);
  };
  return riding.at<uchar>(along(frame_px.y, camera.height_px, riding.rows),
                          along(frame_px.x, camera.width_px, riding.cols)) != 0;
}

bool FrameView::is_hidden(double mosaic_x_px, double mosaic_y_px) const {
  if (hidden.empty()) return false;
  const double per_node = surface->step_px * canvas_per_placed;
  const cv::Point node(static_cast<int>((mosaic_x_px + 0.5) / per_node) - hidden_nodes.x,
                       static_cast<int>((mosaic_y_px + 0.5) / per_node) - hidden_nodes.y);
  return node.x >= 0 && node.y >= 0 && node.x < hidden.cols && node.y < hidden.rows &&
         hidden.at<uchar>(node) != 0;
}

double FrameView::tan_view_angle(double mosaic_x_px, double mosaic_y_px) const {
  return height_px > 0 ? std::hypot(mosaic_x_px - nadir_x_px, mosaic_y_px - nadir_y_px) / height_px : 0;
}

std::vector<FrameView> sighted_views(const FlightRecord& flight, const Canvas& canvas,
                                     std::optional<double> plane_height, bool fill,
                                     const surface::HeightGrid* surface) {
  std::vector<FrameView> views;
  const Eigen::Matrix3d canvas_from_ground = canvas.canvas_from_placed * mosaic_from_ground(flight).matrix;
  int source_index = -1;
  for (std::size_t index = 0; index < flight.frames.size(); ++index) {
    const FrameRecord& frame = flight.frames[index];
    const FramePlacement& placement = frame.placement;
    if (!placement.placed) continue;
    ++source_index;
    const Decision by_program = decision_but_for_drop_by_person(frame.decision);
    const bool fills = fill && dropped_for_blur_alone(by_program);
    const bool set_aside = frame.decision.by_person && frame.decision.verdict == Verdict::drop;
    if (placement.group != 0 || (by_program.verdict == Verdict::drop && !fills)) continue;
    FrameView view;
    view.fills = fills;
    view.set_aside = set_aside;
    view.frame_index = static_cast<int>(index);
    view.source_index = source_index;
    view.camera = placement.camera;
    // Where the lens model spreads pixels as far as nothing is shown it is about to fold, and what it says
    // farther out is made up.
    view.lens_reach_px = placement.camera.reach_px(kLeastScale);
    view.mosaic_from_frame = canvas.canvas_from_placed * placement.mosaic_from_frame.matrix;
    if (plane_height)
      view.mosaic_from_frame =
          canvas_from_ground * ground_from_frame(placement.pose, placement.camera, *plane_height).matrix;
    const Eigen::Vector3d nadir =
        canvas_from_ground * Eigen::Vector3d(placement.pose.centre.x(), placement.pose.centre.y(), 1);
    view.nadir_x_px = nadir.x() / nadir.z();
    view.nadir_y_px = nadir.y() / nadir.z();
    const double canvas_px_per_unit =
        std::sqrt(std::abs(canvas_from_ground.determinant() / std::pow(canvas_from_ground(2, 2), 3)));
    view.height_px = (placement.pose.centre.z() - plane_height.value_or(0)) * canvas_px_per_unit;
    orient(view, placement.pose);
    if (surface != nullptr && !surface->empty() && !plane_height)
      look_down_on(*surface, canvas, placement.pose, canvas_from_ground, view);
    view.box = usable_box(view, canvas);
    if (view.box.empty() || !(view.height_px > 0)) continue;
    views.push_back(view);
  }
  return views;
}

std::vector<FrameView> frame_views(const FlightRecord& flight, const Canvas& canvas,
                                   std::optional<double> plane_height, bool fill,
                                   const surface::HeightGrid* surface) {
  std::vector<FrameView> views = sighted_views(flight, canvas, plane_height, fill, surface);
  find_hidden(views);
  return views;
}

}  // namespace lookdown::mosaic
