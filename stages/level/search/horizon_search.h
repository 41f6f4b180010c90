// Candidate horizon lines: where a straight cut parts the small picture best.
#pragma once

#include <vector>

#include "stages/level/search/search_picture.h"

namespace lookdown::level {

/// x cos(angle) + y sin(angle) = offset in pixels of the small picture; the sky is where the left side is
/// larger.
struct LineCandidate {
  double angle_rad = 0;
  double offset_px = 0;
  double score = 0;  ///< how well it parts the picture; larger is better
};

/// Best cuts over all directions and offsets, at most `most`. Three questions are asked of every cut and each
/// has its own winners: how much two Gaussian models explain better than one (Ettinger et al., Advanced
/// Robotics 17:617, 2003, with log-likelihood instead of determinants), and how different the bands just
/// beside it are at three widths. Both sides may be the sky: each cut is returned once a side.
[[nodiscard]] std::vector<LineCandidate> candidate_lines(const SearchPicture&, int most);

}  // namespace lookdown::level
