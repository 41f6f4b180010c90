// What water and glitter usually look like, learned beforehand from made pictures of three kinds and from
// photographs of dry ground: by what each tile holds and by what the tiles around it do, since waves run one
// way over a whole field, its white midst lies amid specks, and water goes on. Private to the stage (and its
// tests and benchmark).
#pragma once

#include <opencv2/core.hpp>

#include "stages/glare/glint/glitter_tiles.h"
#include "stages/glare/picture/working_picture.h"

namespace lookdown::glare {

struct UsualLook {
  GlitterTiles tiles;  ///< of the picture
  cv::Mat glitter;     ///< how likely each tile is amid glitter, 0..1, CV_32FC1 of the grid's size
  cv::Mat water;       ///< log-odds of water, CV_32FC1, half the working size, within +-kMostOfUsualLook
  /// What it adds to other evidence, log-odds, CV_32FC1 of the size of `water`: against what is unlike usual
  /// water it says more than for what is like it, as a lawn in the shade is, too.
  [[nodiscard]] cv::Mat evidence() const;
  /// How far it speaks for water, 0..1, CV_32FC1 of the size of `water`: there a colour that few waters have
  /// says little against it, as that of red ponds and of what the waves mirror.
  [[nodiscard]] cv::Mat likeness() const;
};
/// Frames made in other ways than those that it was taught on are told as well, but less often rightly than
/// it thinks: its odds help other evidence and never decide.
inline constexpr double kMostOfUsualLook = 4;
[[nodiscard]] UsualLook usual_look(const WorkingPicture&);

/// What tells a tile: CV_32FC1, one row a tile (row by row of the grid). The tile's own numbers, their means
/// over some 40 and 100 px around, some of their spreads, and how far all slopes around share a direction
/// (coherence of the mean gradient tensor: Bigun & Granlund, Proc. 1st ICCV 433, 1987).
[[nodiscard]] cv::Mat tile_numbers(const GlitterTiles&);
/// The numbers over their usual spread, so far as that is usual: what is beyond all that was taught must not
/// weigh beyond it. `mean`, `spread`: CV_32FC1, one row.
[[nodiscard]] cv::Mat in_usual_spreads(const cv::Mat& numbers, const cv::Mat& mean, const cv::Mat& spread);

}  // namespace lookdown::glare
