#include "stages/place/pairs/static_keypoints.h"

#include <tbb/parallel_for.h>

#include <algorithm>
#include <map>

#include "stages/place/pairs/pair_geometry.h"

namespace lookdown::place {
namespace {

constexpr int kOthers = 6;          ///< frames, spread over the flight, that each frame is held against
constexpr int kEnoughOthers = 3;    ///< a spot that comes again in so many of them rides along
constexpr double kSamePlace = 2.5;  ///< pixels of the searched copy
constexpr double kStaticRatio = 0.95;
constexpr double kMostShare = 0.5;  ///< of a frame's spots; more than that is ground seen from one place

std::vector<Expectation> where_they_were(const TieFrame& a) {
  std::vector<Expectation> expected;
  for (const Feature& spot : a.features.spots) expected.push_back({spot.x_px, spot.y_px, 0, 0, true});
  return expected;
}

std::vector<bool> riding(const std::vector<TieFrame>& frames, int index, const std::vector<int>& of_camera) {
  const TieFrame& frame = frames[std::size_t(index)];
  const std::vector<Expectation> expected = where_they_were(frame);
  std::vector<int> times(frame.features.size(), 0);
  const std::size_t count = of_camera.size();
  const std::size_t own =
      std::size_t(std::find(of_camera.begin(), of_camera.end(), index) - of_camera.begin());
  const std::size_t others = std::min<std::size_t>(kOthers, count - 1);
  for (std::size_t k = 1; k <= others; ++k) {
    const TieFrame& other = frames[std::size_t(of_camera[(own + k * count / (others + 1)) % count])];
    for (const Match& m : match_near(frame.features, other.features, expected,
                                     kSamePlace / double(frame.features.work_scale), kStaticRatio))
      ++times[std::size_t(m.a)];
  }
  std::vector<bool> rides;
  rides.reserve(times.size());
  for (const int t : times) rides.push_back(t >= kEnoughOthers);
  return rides;
}

void keep_the_rest(TieFrame& frame, const std::vector<bool>& rides) {
  FrameFeatures kept;
  kept.work_scale = frame.features.work_scale;
  for (std::size_t i = 0; i < rides.size(); ++i) {
    if (rides[i]) continue;
    kept.spots.push_back(frame.features.spots[i]);
    kept.descriptors.insert(kept.descriptors.end(), frame.features.descriptor(i),
                            frame.features.descriptor(i) + kDescriptorBytes);
  }
  frame.features = std::move(kept);
}

}  // namespace

void drop_riding_spots(std::vector<TieFrame>& frames, const std::vector<int>& camera_of_frame) {
  std::map<int, std::vector<int>> cameras;
  for (std::size_t i = 0; i < frames.size(); ++i) cameras[camera_of_frame[i]].push_back(int(i));
  std::vector<std::vector<bool>> rides(frames.size());
  for (const auto& entry : cameras) {
    const std::vector<int>& of_camera = entry.second;
    if (of_camera.size() <= std::size_t(kEnoughOthers)) continue;
    tbb::parallel_for(std::size_t(0), of_camera.size(), [&](std::size_t k) {
      rides[std::size_t(of_camera[k])] = riding(frames, of_camera[k], of_camera);
    });
  }
  for (std::size_t i = 0; i < frames.size(); ++i) {
    const auto count = std::count(rides[i].begin(), rides[i].end(), true);
    if (count > 0 && double(count) <= kMostShare * double(rides[i].size()))
      keep_the_rest(frames[i], rides[i]);
  }
}

}  // namespace lookdown::place
