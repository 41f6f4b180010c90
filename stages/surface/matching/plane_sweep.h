// Which of several hypotheses fits each place best: several pictures are laid over one another as each
// hypothesis asks (a height of the ground, a shift along the rows), likeness is measured by a census of the
// neighbourhood, and semi-global aggregation makes the choice of neighbours agree. Zabih & Woodfill,
// "Non-parametric local transforms for computing visual correspondence", ECCV 1994 (here of opposite
// neighbours: Spangenberg et al., CAIP 2013); Hirschmueller, "Stereo processing by semiglobal matching and
// mutual information", IEEE TPAMI 30(2):328-341, 2008; Collins, "A space-sweep approach to true multi-image
// matching", CVPR 1996.
#pragma once

#include <functional>
#include <opencv2/core.hpp>
#include <utility>
#include <vector>

namespace lookdown::surface {

/// One tile, seen by several views.
struct Sweep {
  cv::Size size;
  int hypotheses = 0;
  int views = 0;
  /// Makes CV_8UC1 of the size of `part` what a view shows of that part of the tile under a hypothesis; 0
  /// where it shows nothing.
  std::function<void(int view, int hypothesis, const cv::Rect& part, cv::Mat& grey)> look;
  /// Views from one side, several such: what stands before a place hides it from one side, as a rule.
  std::vector<std::vector<int>> sides = {};
  /// CV_16SC1: first and last hypothesis in question at each place; empty: all.
  cv::Mat first = {}, last = {};
};

struct SweepAnswer {
  cv::Mat hypothesis;  ///< CV_32FC1, between hypotheses by a parabola
  /// CV_32FC1: by how much any other hypothesis but the neighbours is worse, as a share of the cost of
  /// pictures that have nothing in common. 0 where nothing tells or the best lies at the end of the range.
  cv::Mat margin;
  cv::Mat unlike;  ///< CV_32FC1: bits of the census by which views differ at the answer, mean of the
                   ///< neighbourhood
  cv::Mat told;    ///< CV_32FC1: share of the hypotheses in question under which two views show the place
};

/// The likeness at a place is the mean of that of all pairs of views, in which what repeats itself is told
/// apart by bases of all lengths and directions (Okutomi & Kanade, IEEE TPAMI 15(4):353-363, 1993), and that
/// of the side from which it is best, for what stands beside it may hide it from the others (Kang, Szeliski &
/// Chai, CVPR 2001).
[[nodiscard]] SweepAnswer sweep(const Sweep&);

/// CV_8UC1: how many views have a partner that shows the same there. `shown`: each view's picture of the
/// tile, as `look` gives it, under the hypotheses that were found.
[[nodiscard]] cv::Mat agreeing_views(const std::vector<cv::Mat>& shown,
                                     const std::vector<std::pair<int, int>>& pairs);

}  // namespace lookdown::surface
