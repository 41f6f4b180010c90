// One placed frame as the mosaic sees it: from a mosaic pixel to the spot in the stored frame, and how well
// it is seen there.
#pragma once

#include <Eigen/Core>
#include <opencv2/core.hpp>
#include <optional>
#include <vector>

#include "pipeline/record/flight_record.h"
#include "stages/mosaic/canvas.h"
#include "stages/mosaic/geometry/displacement_field.h"
#include "stages/surface/surface.h"

namespace lookdown::mosaic {

/// Where a mosaic pixel lies in one frame.
struct Sighting {
  double x_px = 0, y_px = 0;          ///< in the frame as stored
  double frame_px_per_mosaic_px = 0;  ///< local scale, geometric mean of the two directions
  bool in_view = false;  ///< inside the frame, in front of the camera, not too slanting, not blown up too
                         ///< far, not behind the rig
  bool usable = false;   ///< in view, and nothing of the surface stands before it
};

/// Geometry of one frame over the canvas. Plain value; `box` holds every usable mosaic pixel.
struct FrameView {
  int frame_index = -1;    ///< in FlightRecord::frames
  int source_index = -1;   ///< in placement.json, the value in mosaic_sources.tif
  bool fills = false;      ///< dropped for blur: shown only where no kept frame sees the ground
  bool set_aside = false;  ///< dropped by a person: lends its overlaps to the colours, is not shown
  Camera camera;
  Eigen::Matrix3d frame_from_mosaic =
      Eigen::Matrix3d::Identity();  ///< undistorted pixels; third coordinate > 0 in front of the camera
  Eigen::Matrix3d mosaic_from_frame = Eigen::Matrix3d::Identity();
  double lens_reach_px = 0;               ///< undistorted pixels off the axis; beyond it nothing is used
  double nadir_x_px = 0, nadir_y_px = 0;  ///< mosaic pixel straight below the camera
  double height_px = 0;                   ///< camera above the plane in mosaic pixels
  const surface::HeightGrid* surface = nullptr;  ///< what the mosaic looks down on; null: the plane
  double canvas_per_placed = 1;                  ///< pixels of the canvas per pixel of the surface's grid
  double camera_height = 0;                      ///< over the plane, units of the surface's heights
  /// Added to a ray's homogeneous frame position for each unit of height.
  Eigen::Vector3d frame_per_height = Eigen::Vector3d::Zero();
  cv::Mat hidden;         ///< CV_8UC1, 255 at nodes of the surface that others stand before; empty: nowhere
  cv::Rect hidden_nodes;  ///< that `hidden` is over
  cv::Rect box;
  cv::Mat
      riding;  ///< CV_8UC1 over the frame, reduced, 255 where a part of the rig rides along; empty: nowhere
  Bend bend;   ///< set once seams are known; `sight` is of the frame unbent

  [[nodiscard]] Sighting sight(double mosaic_x_px, double mosaic_y_px) const;
  /// The same without the test for usability: the position only, kept finite, for filling beyond the frame's
  /// edge. Bent along with the frame.
  [[nodiscard]] cv::Point2d position(double mosaic_x_px, double mosaic_y_px) const;
  /// True where something that rides along with the camera hides the ground; position in the frame as stored.
  [[nodiscard]] bool rides_along(const cv::Point2d& frame_px) const;
  /// Height of the surface, its own units.
  [[nodiscard]] double height_at(double mosaic_x_px, double mosaic_y_px) const {
    return surface == nullptr ? 0
                              : surface->at((mosaic_x_px + 0.5) / canvas_per_placed - 0.5,
                                            (mosaic_y_px + 0.5) / canvas_per_placed - 0.5);
  }
  /// True where something that stands higher hides the place from the camera.
  [[nodiscard]] bool is_hidden(double mosaic_x_px, double mosaic_y_px) const;
  /// Tangent of the angle between the line of sight and straight down.
  [[nodiscard]] double tan_view_angle(double mosaic_x_px, double mosaic_y_px) const;
};

/// Limits of use: a frame pixel is never spread over more than 1/kLeastScale mosaic pixels, nor seen from
/// flatter than this.
inline constexpr double kLeastScale = 0.25;
inline constexpr double kMostTanViewAngle = 3.7;  // 75 degrees

/// Views of all frames that may be used: placed in the largest group, not dropped, or with `fill` dropped for
/// nothing but blur, or set aside by a person. A frame that sees nothing of the canvas is left out. `surface`
/// must outlive the views.
[[nodiscard]] std::vector<FrameView> frame_views(const FlightRecord&, const Canvas&,
                                                 std::optional<double> plane_height, bool fill = false,
                                                 const surface::HeightGrid* surface = nullptr);
/// The same, where what stands higher hides nothing as yet.
[[nodiscard]] std::vector<FrameView> sighted_views(const FlightRecord&, const Canvas&,
                                                   std::optional<double> plane_height, bool fill,
                                                   const surface::HeightGrid* surface);

}  // namespace lookdown::mosaic
