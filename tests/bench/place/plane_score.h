// Scores the planes of a placement.json against the flat roofs ("relief"."blocks") of a flight's truth.json,
// in the truth's units.
#pragma once

#include <vector>

#include "placement_score.h"

namespace lookdown::bench {

/// One outline of a plane that was found.
struct FoundRoof {
  double height = 0, sigma = 0;
  double true_height = 0;  ///< of the roof that holds most of the outline
  double share_inside =
      0;  ///< of the outline's corners that lie on true roofs of that height, a twentieth of slack
  double area_share = 0;  ///< area of the outline against that of the true roofs it lies on
};

struct PlaneScore {
  std::vector<FoundRoof> found;
  int true_roofs = 0;
  int true_roofs_found = 0;  ///< some outline lies on them
};

/// `score` is that of the same two files.
PlaneScore score_planes(const std::filesystem::path& truth_json, const std::filesystem::path& placement_json,
                        const PlacementScore& score);

}  // namespace lookdown::bench
