// Lines that may be the horizon at first sight, with what the regions on both sides of each say.
#pragma once

#include <Eigen/Core>
#include <opencv2/core.hpp>
#include <vector>

#include "pipeline/geometry/camera.h"
#include "stages/level/search/horizon_evidence.h"
#include "stages/level/search/horizon_search.h"
#include "stages/level/search/search_picture.h"

namespace lookdown::level {

/// A straight cut of the picture.
struct FirstLine {
  LineCandidate cut;     ///< of the small picture
  Eigen::Vector3d line;  ///< the same in pixels of the picture that the small one was made from
  Evidence evidence{};   ///< its terms that need LineSupport say nothing
};

/// Few lines of an 8-bit BGR picture made very small; none where it is too small itself.
[[nodiscard]] std::vector<FirstLine> lines_at_a_glance(const cv::Mat& bgr, const Camera&, int orientation);

/// Log-odds of the likeliest of them.
[[nodiscard]] double log_odds_at_a_glance(const cv::Mat& bgr, const Camera&, int orientation,
                                          const Evidence& region_weights);

/// Many lines, for the fine search.
[[nodiscard]] std::vector<FirstLine> first_lines(const SearchPicture&, int orientation);

/// Lines that `region_weights` call likeliest, likeliest first; each differs so much from the others that
/// refinement does not bring them to the same edge.
[[nodiscard]] std::vector<Eigen::Vector3d> likeliest_apart(std::vector<FirstLine>,
                                                           const Evidence& region_weights,
                                                           const cv::Size& small_picture);

/// Roll that a line with this normal to the sky shows in the displayed frame, radians.
[[nodiscard]] double shown_roll_rad(double nx, double ny, int orientation);

}  // namespace lookdown::level
