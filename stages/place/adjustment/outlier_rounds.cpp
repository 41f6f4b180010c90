#include "stages/place/adjustment/outlier_rounds.h"

#include <algorithm>
#include <cmath>

#include "pipeline/base/robust_statistics.h"

namespace lookdown::place {
namespace {

constexpr double kLeastOutlierLimit = 3;  ///< in units of a sighting's sigma

/// Points seen once tell nothing.
void drop_lonely_points(Network& network) {
  std::vector<int> counts(network.points.size(), 0);
  for (const Sighting& s : network.sightings) ++counts[std::size_t(s.point)];
  std::erase_if(network.sightings, [&](const Sighting& s) {
    return counts[std::size_t(s.point)] < 2 && network.points[std::size_t(s.point)].footing != Footing::given;
  });
}

double in_sigmas(const Network& network, const Sighting& s) {
  return residual_px(network, s) / s.sigma_px;
}

}  // namespace

int busiest_frame(const Network& network) {
  std::vector<int> counts(network.poses.size(), 0);
  for (const Sighting& s : network.sightings) ++counts[std::size_t(s.frame)];
  return int(std::max_element(counts.begin(), counts.end()) - counts.begin());
}

/// Removes sightings far beyond the spread of the rest (median of distances; for Gaussian errors in a plane
/// the median distance is 1.1774 sigma).
int drop_outliers(Network& network, double times) {
  std::vector<double> distances;
  for (const Sighting& s : network.sightings) distances.push_back(in_sigmas(network, s));
  if (distances.empty()) return 0;
  const double limit = std::max(kLeastOutlierLimit, times * median(distances) / 1.1774);
  std::size_t kept = 0;
  for (std::size_t i = 0; i < distances.size(); ++i)
    if (distances[i] <= limit) network.sightings[kept++] = network.sightings[i];
  const int dropped = int(distances.size() - kept);
  network.sightings.resize(kept);
  drop_lonely_points(network);
  return dropped;
}

std::vector<double> median_residual_of_frames(const Network& network) {
  std::vector<std::vector<double>> all(network.poses.size());
  for (const Sighting& s : network.sightings)
    all[std::size_t(s.frame)].push_back(std::min(1e6, in_sigmas(network, s)));
  std::vector<double> medians;
  medians.reserve(all.size());
  for (auto& list : all) medians.push_back(median_in_place(list, 1e6));
  return medians;
}

double median_residual(const Network& network) {
  std::vector<double> all;
  for (const Sighting& s : network.sightings) all.push_back(std::min(1e6, in_sigmas(network, s)));
  return median_in_place(all, 1e6);
}

void take_lens(std::vector<TieFrame>& frames, const Group& group) {
  for (std::size_t i = 0; i < group.members.size(); ++i) {
    TieFrame& frame = frames[std::size_t(group.members[i])];
    frame.camera = group.network.camera_of(i);
    undistort_spots(frame);
  }
}

}  // namespace lookdown::place
