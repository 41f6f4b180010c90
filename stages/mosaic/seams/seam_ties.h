// Where two frames meet at a seam and show the same thing in different places.
#pragma once

#include <opencv2/core.hpp>
#include <vector>

#include "pipeline/record/run_context.h"
#include "stages/mosaic/geometry/frame_store.h"
#include "stages/mosaic/geometry/frame_view.h"
#include "stages/mosaic/overview/label_map.h"
#include "stages/mosaic/overview/overview.h"

namespace lookdown::mosaic {

/// What frame `first` shows at canvas pixel `at_px`, frame `second` shows at `at_px + apart_px`.
struct SeamTie {
  int first = 0, second = 0;  ///< views, first < second
  cv::Point2d at_px, apart_px;
};

/// Ties along every seam of the choice, a few dozen pixels apart, at most 8 px apart in the two frames: what
/// is left of errors of the placement and of uneven ground. Found by normalised correlation at full
/// resolution. A place without a clear match, or whose neighbours along the seam say otherwise, gives none.
/// What a pair of frames has shown at a place is kept in the cache. Does not depend on the number of threads.
[[nodiscard]] std::vector<SeamTie> seam_ties(const FlightRecord&, const std::vector<FrameView>&,
                                             const Survey&, const LabelMap&, FrameStore&, RunContext&);

}  // namespace lookdown::mosaic
