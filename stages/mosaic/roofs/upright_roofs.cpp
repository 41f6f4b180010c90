#include "stages/mosaic/roofs/upright_roofs.h"

#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>

namespace lookdown::mosaic {

RaisedPlane as_plane(const RaisedArea& roof, const FlightPlacement& placement, const Canvas& canvas) {
  RaisedPlane plane;
  plane.height = placement.gsd_m && canvas.gsd_m ? roof.height_px * *canvas.gsd_m
                                                 : roof.height_px / canvas.canvas_per_placed;
  auto& outline = plane.outlines_px.emplace_back();
  for (const cv::Point2d& corner : roof.outline)
    outline.push_back({(corner.x + 0.5) / canvas.canvas_per_placed - 0.5,
                       (corner.y + 0.5) / canvas.canvas_per_placed - 0.5});
  return plane;
}

void leave_out_upright(const surface::HeightGrid& grid, const FlightPlacement& placement,
                       const Canvas& canvas, std::vector<RaisedArea>& roofs) {
  constexpr double kLeans = 0.5;    // of a height: how far beyond its foot a roof usually shows
  constexpr double kAsHigh = 0.05;  // of a height
  if (grid.empty()) return;
  const double nodes_per_canvas_px = 1 / (canvas.canvas_per_placed * grid.step_px);
  const cv::Mat heights(grid.rows, grid.columns, CV_32FC1, const_cast<float*>(grid.heights.data()));
  std::erase_if(roofs, [&](const RaisedArea& roof) {
    std::vector<cv::Point2d> nodes;
    for (const cv::Point2d& corner : roof.outline)
      nodes.push_back((corner + cv::Point2d(0.5, 0.5)) * nodes_per_canvas_px - cv::Point2d(0.5, 0.5));
    const cv::Rect tight = box_of(nodes);
    const int beside = static_cast<int>(kLeans * std::abs(roof.height_px) * nodes_per_canvas_px);
    const cv::Rect box =
        cv::Rect(tight.x - beside, tight.y - beside, tight.width + 2 * beside, tight.height + 2 * beside) &
        cv::Rect(0, 0, grid.columns, grid.rows);
    if (box.empty()) return false;
    const double height = as_plane(roof, placement, canvas).height;
    const cv::Mat inside = filled_outline(nodes, box), there = heights(box);
    return cv::countNonZero(inside & (there > grid.wall)) > 0 ||
           cv::countNonZero(cv::abs(there - height) < kAsHigh * height) > 0;
  });
}

}  // namespace lookdown::mosaic
