#include "stages/place/canvas.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <utility>
#include <vector>

#include "pipeline/base/robust_statistics.h"

namespace lookdown::place {
namespace {

constexpr double kCoarsestFactor = 4;
constexpr int kBorderSteps = 12;

/// Mean ground size of a pixel at the principal point.
double ground_resolution(const CanvasFrame& f) {
  const GroundSampleDistance d = ground_sample_distance(f.pose, f.camera);
  return std::sqrt(d.along * d.across);
}

/// Where a pixel meets the ground, if there and if the ground is still resolved better than `coarsest`.
bool meets_ground(const CanvasFrame& f, const GroundFacet& facet, double below, double x_px, double y_px,
                  double coarsest, Eigen::Vector3d& ground) {
  const Eigen::Vector3d ray = f.pose.world_from_camera * f.camera.ray({x_px, y_px});
  const double above = f.pose.centre.z() - facet.along_x * f.pose.centre.x() -
                       facet.along_y * f.pose.centre.y() - facet.height + below;
  const double sinks = ray.z() - facet.along_x * ray.x() - facet.along_y * ray.y();
  if (ray.z() >= -1e-3 || sinks >= -1e-3 || above <= 0) return false;
  const double range = -above / sinks;
  // Across a ray of length `range` a pixel covers range * cos(angle off the axis) / f; along the slope that
  // grows by 1 / -ray.z.
  const double cosine = f.camera.ray({x_px, y_px}).z();
  if (range * cosine / f.camera.fx_px / -ray.z() > coarsest) return false;
  ground = f.pose.centre + range * ray;
  return true;
}

/// The frame's facet, the deepest ground below it, and the same level: a slope that the frame's tie points
/// show need not go on to its rim, where it has none.
std::vector<std::pair<GroundFacet, double>> possible_grounds(const CanvasFrame& f) {
  std::vector<std::pair<GroundFacet, double>> grounds{{f.ground, 0}};
  if (!(f.below > 0)) return grounds;
  grounds.emplace_back(f.ground, f.below);
  Eigen::Vector3d middle;
  if (meets_ground(f, f.ground, 0, f.camera.cx_px, f.camera.cy_px, std::numeric_limits<double>::infinity(),
                   middle))
    grounds.emplace_back(GroundFacet{0, 0, middle.z()}, f.below);
  return grounds;
}

}  // namespace

Homography<MosaicPx, Ground> Canvas::mosaic_from_ground() const {
  Homography<MosaicPx, Ground> h;
  h.matrix << 1 / gsd, 0, -west / gsd - 0.5, 0, -1 / gsd, north / gsd - 0.5, 0, 0, 1;
  return h;
}

Canvas choose_canvas(const std::vector<CanvasFrame>& frames, double gsd) {
  Canvas canvas;
  std::vector<double> resolutions;
  for (const CanvasFrame& f : frames)
    if (f.shown && f.pose.centre.z() > 0) resolutions.push_back(ground_resolution(f));
  if (resolutions.empty()) return canvas;
  const double typical = median(resolutions);
  canvas.gsd = gsd > 0 ? gsd : typical;

  double west = std::numeric_limits<double>::infinity(), south = west, east = -west, north = -west;
  for (const CanvasFrame& f : frames) {
    if (!f.shown && !f.fills) continue;
    const double right = f.camera.width_px - 1, bottom = f.camera.height_px - 1;
    const std::vector<std::pair<GroundFacet, double>> grounds = possible_grounds(f);
    const double lens_reach_px = f.camera.reach_px(1 / kCoarsestFactor);
    // The inside too: of an oblique only a part may be good enough, and then no border pixel of it bounds
    // that part.
    for (int r = 0; r <= kBorderSteps; ++r)
      for (int c = 0; c <= kBorderSteps; ++c) {
        const auto flat = f.camera.undistort({right * c / kBorderSteps, bottom * r / kBorderSteps});
        if (std::hypot(flat.x - f.camera.cx_px, flat.y - f.camera.cy_px) > lens_reach_px) continue;
        for (const auto& [facet, below] : grounds) {
          Eigen::Vector3d ground;
          if (!meets_ground(f, facet, below, flat.x, flat.y, kCoarsestFactor * typical, ground)) continue;
          west = std::min(west, ground.x());
          east = std::max(east, ground.x());
          south = std::min(south, ground.y());
          north = std::max(north, ground.y());
        }
      }
  }
  if (!(east > west) || !(north > south)) return canvas;
  canvas.west = std::floor(west / canvas.gsd) * canvas.gsd;
  canvas.north = std::ceil(north / canvas.gsd) * canvas.gsd;
  canvas.width_px = std::max(1, int(std::ceil((east - canvas.west) / canvas.gsd)));
  canvas.height_px = std::max(1, int(std::ceil((canvas.north - south) / canvas.gsd)));
  return canvas;
}

}  // namespace lookdown::place
