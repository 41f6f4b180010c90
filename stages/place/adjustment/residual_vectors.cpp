#include "stages/place/adjustment/residual_vectors.h"

#include <algorithm>
#include <array>

#include "pipeline/base/robust_statistics.h"

namespace lookdown::place {
namespace {

constexpr std::size_t kFewestSightings = 5;

/// Sightings of one quarter, in mosaic pixels.
struct Quarter {
  std::vector<double> x, y, dx, dy;
  void add(const Point2<MosaicPx>& seen, const Point2<MosaicPx>& adjusted) {
    x.push_back(adjusted.x);
    y.push_back(adjusted.y);
    dx.push_back(seen.x - adjusted.x);
    dy.push_back(seen.y - adjusted.y);
  }
};

}  // namespace

std::vector<std::vector<const Sighting*>> sightings_by_frame(const Network& network) {
  std::vector<std::vector<const Sighting*>> by_frame(network.poses.size());
  for (const Sighting& s : network.sightings) by_frame[std::size_t(s.frame)].push_back(&s);
  return by_frame;
}

std::vector<Misfit> misfits_of(const Network& network, int frame,
                               const std::vector<const Sighting*>& sightings,
                               const Homography<MosaicPx, UndistortedPx>& mosaic_from_frame) {
  const Pose& pose = network.poses[std::size_t(frame)];
  const Camera& camera = network.camera_of(std::size_t(frame));
  std::array<Quarter, 4> quarters;
  for (const Sighting* s : sightings) {
    double depth = 0;
    const auto expected = project(pose, camera, network.points[std::size_t(s->point)].position, &depth);
    if (depth <= 0) continue;
    const bool right = s->at.x > 0.5 * camera.width_px, low = s->at.y > 0.5 * camera.height_px;
    quarters[(right ? 1U : 0U) + (low ? 2U : 0U)].add(mosaic_from_frame * camera.undistort(s->at),
                                                      mosaic_from_frame * expected);
  }
  std::vector<Misfit> misfits;
  for (const Quarter& q : quarters)
    if (q.x.size() >= kFewestSightings)
      misfits.push_back({{median(q.x), median(q.y)}, median(q.dx), median(q.dy)});
  return misfits;
}

}  // namespace lookdown::place
