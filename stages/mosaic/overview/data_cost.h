// How much a frame is disliked at a spot: the part of the choice that looks at one frame alone. Seams are the
// other part.
#pragma once

#include <opencv2/core.hpp>
#include <string>
#include <vector>

#include "pipeline/record/flight_record.h"
#include "stages/mosaic/geometry/frame_view.h"

namespace lookdown::mosaic {

/// Costs are in the unit of one doubling of the ground resolution.
class Preference {
 public:
  /// `order`: "best", "newest", "sharpest" or "straightest".
  Preference(const FlightRecord&, const std::vector<FrameView>&, std::string order);

  /// Cost of showing the frame at mosaic pixel (x, y), sighted as `seen`; glare apart.
  [[nodiscard]] double dislike(const FrameRecord&, const FrameView&, const Sighting& seen, double mosaic_x_px,
                               double mosaic_y_px) const;
  /// Adds the cost of glare; `glare_share` CV_8UC1 (255 = the whole cell), `glare_around` the same over a
  /// wider surrounding, `dislike` CV_32FC1.
  void add_glare(const cv::Mat& glare_share, const cv::Mat& glare_around, cv::Mat& dislike) const;

 private:
  std::string order_;
  std::vector<double> age_rank_;  ///< by frame index: 0 newest .. 1 oldest
};

/// Full width at half maximum of the blur at a frame position: from the tile of the grid, else from the whole
/// frame, else `fallback_px`.
[[nodiscard]] double local_blur_fwhm_px(const FrameRecord&, double x_px, double y_px, double fallback_px);

}  // namespace lookdown::mosaic
