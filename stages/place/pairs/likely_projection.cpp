#include "stages/place/pairs/likely_projection.h"

#include <algorithm>
#include <cmath>
#include <utility>

#include "pipeline/base/angles.h"
#include "stages/place/pairs/pair_geometry.h"

namespace lookdown::place {
namespace {

constexpr std::size_t kMostPairs = 12;
/// In the corners of the frame. Rectilinear lenses are rarely wider: 20 mm on film is 47 degrees.
constexpr double kWide_rad = 44 * kDegree;
/// A fisheye's focal length as a share of the one that is assumed where nothing tells it (28 mm on film).
constexpr double kShortFocal = 0.6;
/// By so much more spots must agree; what is left to chance is less.
constexpr double kClearlyMore = 1.15;

bool is_open(const Camera& camera) {
  if (camera.distortion_from != "none" || camera.projection != Projection::rectilinear) return false;
  const double half_diagonal_px = 0.5 * std::hypot(camera.width_px, camera.height_px);
  return camera.focal_from == "assumed" || std::atan(half_diagonal_px / camera.fx_px) > kWide_rad;
}

/// Neighbours in time that one camera took, spread over the flight.
std::vector<std::pair<int, int>> neighbours(const std::vector<TieFrame>& frames,
                                            const std::vector<int>& camera_of_frame, int camera) {
  std::vector<int> own;
  for (std::size_t i = 0; i < frames.size(); ++i)
    if (camera_of_frame[i] == camera && !frames[i].bridge_only) own.push_back(int(i));
  std::vector<std::pair<int, int>> pairs;
  for (std::size_t i = 1; i < own.size(); ++i) pairs.emplace_back(own[i - 1], own[i]);
  if (pairs.size() <= kMostPairs) return pairs;
  std::vector<std::pair<int, int>> spread;
  for (std::size_t k = 0; k < kMostPairs; ++k) spread.push_back(pairs[k * pairs.size() / kMostPairs]);
  return spread;
}

/// Spots that agree over all pairs if the frames were taken with `camera`.
std::size_t agreeing(const std::vector<TieFrame>& frames, const std::vector<std::pair<int, int>>& pairs,
                     const Camera& camera) {
  std::size_t sum = 0;
  for (const auto& [a, b] : pairs) {
    std::vector<TieFrame> two{frames[std::size_t(a)], frames[std::size_t(b)]};
    for (TieFrame& frame : two) {
      frame.camera = camera;
      undistort_spots(frame);
    }
    if (const auto tie = tie_unguided(two, 0, 1, Look::first)) sum += tie->matches.size();
  }
  return sum;
}

}  // namespace

void guess_projections(std::vector<TieFrame>& frames, const std::vector<int>& camera_of_frame,
                       std::vector<KnownCamera>& cameras) {
  for (std::size_t c = 0; c < cameras.size(); ++c) {
    const Camera known = cameras[c].prior;
    if (!is_open(known)) continue;
    const auto pairs = neighbours(frames, camera_of_frame, int(c));
    std::size_t most = agreeing(frames, pairs, known);
    for (const double share : {1.0, kShortFocal}) {
      if (share < 1 && known.focal_from != "assumed") continue;
      Camera fisheye = known;
      fisheye.projection = Projection::equidistant;
      fisheye.fx_px *= share;
      fisheye.fy_px *= share;
      const std::size_t agree = agreeing(frames, pairs, fisheye);
      if (!(double(agree) > kClearlyMore * double(most))) continue;
      most = agree;
      cameras[c].prior = fisheye;
    }
    if (cameras[c].prior.projection == known.projection) continue;
    for (std::size_t i = 0; i < frames.size(); ++i) {
      if (camera_of_frame[i] != int(c)) continue;
      frames[i].camera = cameras[c].prior;
      undistort_spots(frames[i]);
    }
  }
}

}  // namespace lookdown::place
