// Parts of what carries the camera (a bracket, a leg, a line held fast) that show in the same place of every
// frame.
#pragma once

#include <opencv2/core.hpp>
#include <string>
#include <vector>

#include "pipeline/record/flight_record.h"
#include "stages/mosaic/geometry/frame_view.h"
#include "stages/mosaic/overview/overview.h"

namespace lookdown::mosaic {

/// What one camera carries along in its picture.
struct RidingPart {
  std::vector<int> views;  ///< those of the camera's frames
  cv::Mat mask;            ///< CV_8UC1 over the whole frame as stored, reduced: 255 where the part may show
  double share = 0;        ///< of the frame
};

/// Places of the frame that look the same in nearly every frame and contradict, in nearly every frame, all
/// other frames that see the same ground; the contradiction ends abruptly at their rim, and they reach the
/// frame's edge. Ground that looks alike everywhere is not contradicted, and light that depends on the
/// direction of sight (a lens's fall-off, a mirrored sky) fades gradually. Expects corrected colours in the
/// survey. Frames that only fill are too blurred to tell and go by what the others of their camera show. A
/// camera of fewer than five others gives none.
[[nodiscard]] std::vector<RidingPart> riding_parts(const FlightRecord&, const std::vector<FrameView>&,
                                                   const Survey&);

/// Takes the parts out of use: out of the views and out of the survey.
void leave_out(const std::vector<RidingPart>&, std::vector<FrameView>&, Survey&);

/// In words, for the record.
[[nodiscard]] std::string in_words(const RidingPart&);

}  // namespace lookdown::mosaic
