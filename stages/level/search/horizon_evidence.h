// How much a cut of the picture looks like sky above ground.
#pragma once

#include <array>

#include "stages/level/search/horizon_search.h"
#include "stages/level/search/line_support.h"
#include "stages/level/search/search_picture.h"

namespace lookdown::level {

/// Agreement of the frame at working size with the line, from the refinement.
struct LineSupport {
  double inlier_share = 0;     ///< share of the profiles along the line whose edge lies on it
  double step_to_noise = 0;    ///< median height of the step over the spread of the sky beside it
  double same_sign_share = 0;  ///< share of profiles where the step goes the way that most go
  double scatter_share =
      0;                  ///< spread of the edge points about the line, share of the long side in hundredths
  double coherence = 0;   ///< mean clipped step of the edge right at the line, 0..1
  double fine_share = 0;  ///< share of the profiles whose edge keeps within a pixel or two
  ProfileTerms profile;   ///< from the mean profile across the line
};

inline constexpr int kEvidenceTerms = 35;
using Evidence = std::array<double, kEvidenceTerms>;

/// Terms of the decision, each of order one: see horizon_evidence.cpp for the list. `roll_rad` is of the
/// frame as displayed; with a stride of n only every n-th row and column are looked at.
[[nodiscard]] Evidence evidence_of(const SearchPicture&, const LineCandidate&, double roll_rad,
                                   const LineSupport&, int stride = 1);

/// Log-odds by weights of horizon_weights.h. By those of regions the evidence needs no LineSupport.
[[nodiscard]] double weighted(const Evidence&, const Evidence& weights);

}  // namespace lookdown::level
