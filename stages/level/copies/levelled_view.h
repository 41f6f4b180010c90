// Where the pixels of a levelled copy come from.
#pragma once

#include <Eigen/Core>
#include <functional>
#include <optional>

#include "pipeline/record/flight_record.h"

namespace lookdown::level {

/// A view of the frame turned or re-projected. Its coordinates are pixels with the origin at the turning
/// point.
struct LevelledView {
  Camera camera;  ///< of the frame as stored
  Eigen::Matrix3d
      frame_from_view;  ///< undistorted stored pixels from view pixels, up to scale with positive depth ahead
  double lens_reach_px;  ///< how far from the principal point the lens model holds, undistorted pixels

  /// Stored pixel that shows at a view position; empty where that lies outside the frame.
  [[nodiscard]] std::optional<Point2<StoredPx>> source_of(double x, double y) const;
};

/// The frame as displayed, turned back by its roll about its centre; lens distortion is taken out where it is
/// known.
[[nodiscard]] LevelledView turned_view(const Camera&, double roll_rad, int orientation);

/// The frame re-projected: to a camera with a level axis when it looked more than 45 degrees from straight
/// down, else to one that looks straight down. `down` is a unit vector in camera axes of the frame as stored.
[[nodiscard]] LevelledView upright_view(const Camera&, const Eigen::Vector3d& down, int orientation);

/// An axis-parallel rectangle in view pixels.
struct ViewRectangle {
  double x_min = 0, y_min = 0, x_max = 0, y_max = 0;
  [[nodiscard]] double width() const { return x_max - x_min; }
  [[nodiscard]] double height() const { return y_max - y_min; }
};

/// Rectangle of the given width / height that shows only the frame and as much of it as can be: pattern
/// search over its centre, bisection over its size. Empty when none of at least 16 pixels is found.
[[nodiscard]] std::optional<ViewRectangle> largest_clean_rectangle(const LevelledView&, double aspect);

/// Smallest rectangle that holds all of the frame, cut at 2.5 frame diagonals from the origin (a view toward
/// the horizon has no end).
[[nodiscard]] ViewRectangle whole_frame_rectangle(const LevelledView&);

}  // namespace lookdown::level
