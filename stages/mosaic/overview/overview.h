// The first look at every frame, at reduced resolution on the canvas: colours for the exposure and seam work,
// and how good each frame is at each spot. Everything global (colour, seams) is decided from this; full
// resolution is only read for rendering.
#pragma once

#include <opencv2/core.hpp>
#include <string>
#include <vector>

#include "pipeline/record/flight_record.h"
#include "pipeline/record/run_context.h"
#include "stages/mosaic/geometry/frame_view.h"

namespace lookdown::mosaic {

/// One frame on the survey grid. A cell covers cell_px x cell_px canvas pixels.
struct SurveyFrame {
  bool fills = false;  ///< as FrameView::fills
  cv::Rect box;        ///< cells
  cv::Mat bgr;         ///< CV_8UC3, the frame's own colours, averaged over a cell
  cv::Mat usable;      ///< CV_8UC1, 255 where the cell's centre is usable
  cv::Mat
      dislike;    ///< CV_32FC1, cost of showing this frame here, without seams; only meaningful where usable
  cv::Mat glare;  ///< CV_8UC1, share of the cell that is glare, 255 = all; empty when there is none
  [[nodiscard]] bool holds(int column, int row) const {
    return box.contains({column, row}) && usable.at<uchar>(row - box.y, column - box.x) != 0;
  }
  /// True where the frame shows the ground of a cell and no glare over it.
  [[nodiscard]] bool testifies(const cv::Point& cell) const {
    return !fills && !bgr.empty() && holds(cell.x, cell.y) &&
           (glare.empty() || glare.at<uchar>(cell - box.tl()) == 0);
  }
};

struct Survey {
  int cell_px = 8;  ///< power of two
  int columns = 0, rows = 0;
  std::vector<SurveyFrame> frames;  ///< parallel to the views
};

/// Frames that only fill become unusable wherever a kept frame sees the ground.
void keep_fills_to_gaps(const std::vector<FrameView>&, Survey&);

/// Reads every view's frame at reduced size. A frame that cannot be read is unusable everywhere and a warning
/// in the record.
[[nodiscard]] Survey survey_frames(FlightRecord&, const std::vector<FrameView>&, const Canvas&,
                                   const std::string& order, RunContext&);

}  // namespace lookdown::mosaic
