// How well the frames agree when they are laid on planes of different heights.
#pragma once

#include <opencv2/core.hpp>
#include <vector>

#include "stages/mosaic/geometry/frame_view.h"
#include "stages/mosaic/overview/overview.h"

namespace lookdown::mosaic {

/// Over survey cells, all frames laid on one height.
struct Scatter {
  cv::Mat deviation;  ///< CV_32FC1, standard deviation of what the frames show there, code values, smoothed;
                      ///< -1 where fewer than two see it
  cv::Mat mean;       ///< CV_32FC1
};

/// Code values by which the frames agree better at a height than on the ground; 0 where either is unknown.
[[nodiscard]] cv::Mat evidence(const Scatter& ground, const Scatter& raised);

/// True where the frames agree far better over the whole of `area` (CV_8UC1) at the height than on the
/// ground.
[[nodiscard]] bool agree_better(const Scatter& ground, const Scatter& raised, const cv::Mat& area);

/// Frames that only fill are too blurred to count. A plane sweep: Collins, "A space-sweep approach to true
/// multi-image matching", CVPR 1996. Keeps references to its arguments.
class HeightSweep {
 public:
  HeightSweep(const std::vector<FrameView>&, const Survey&);
  [[nodiscard]] double usual_height_px() const { return usual_height_px_; }  ///< of the cameras
  /// Over the cells of `region`.
  [[nodiscard]] Scatter at(double height_px, const cv::Rect& region) const;

 private:
  const std::vector<FrameView>& views_;
  const Survey& survey_;
  std::vector<cv::Mat> grey_, known_;
  double usual_height_px_ = 0;
};

}  // namespace lookdown::mosaic
