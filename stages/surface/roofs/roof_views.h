// What the views show of a roof and the ground round it.
#pragma once

#include <opencv2/core.hpp>
#include <optional>
#include <vector>

#include "pipeline/record/run_context.h"
#include "stages/surface/matching/height_sweep.h"
#include "stages/surface/matching/sweep_views.h"
#include "stages/surface/roofs/rectangle.h"
#include "stages/surface/steps/side_likeness.h"

namespace lookdown::surface {

/// The flight's frames over one grid of nodes. The record and the context must outlive it.
class RoofViews {
 public:
  RoofViews(const FlightRecord&, const NodeGrid&, RunContext&);

  struct Seen {
    RoofLook roof;
    cv::Mat mean;  ///< CV_8UC1, of the views laid on the roof's height; 0: nothing shown
  };
  /// Over the nodes of `box`; the likeness where it is `open` (CV_8UC1), with the present guess of what is
  /// roof (CV_8UC1). `height`: of the roof, world units. A frame that can no longer be read says nothing.
  [[nodiscard]] Seen of(const cv::Rect& box, const cv::Mat& open, const cv::Mat& guess, float height);

 private:
  [[nodiscard]] std::vector<cv::Mat> laid_on(const cv::Rect& box, float height);
  [[nodiscard]] std::optional<SideLikeness> likeness_over(const cv::Rect& nodes, float height,
                                                          const cv::Mat& heights);
  NodeGrid grid_;
  std::vector<SweepView> views_;
  SweepPictures pictures_;
};

}  // namespace lookdown::surface
