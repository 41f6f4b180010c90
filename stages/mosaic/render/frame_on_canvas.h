// One frame resampled onto part of the canvas, in corrected colours and without the glare that other frames
// can replace.
#pragma once

#include <opencv2/core.hpp>

#include "stages/mosaic/geometry/frame_store.h"
#include "stages/mosaic/render/scene.h"

namespace lookdown::mosaic {

struct FrameOnCanvas {
  cv::Mat colours;  ///< CV_32FC3, 0..255 code values, blue first; beyond the frame its edge colours go on
  cv::Mat donor;    ///< CV_16SC1, view index from which a glare pixel was filled, -1 elsewhere; empty when
                    ///< nothing was filled
  cv::Mat glare;    ///< CV_8UC1, 255 where glare is left; empty when there is none
};

/// `area` in canvas pixels. Single glints smaller than a survey cell are filled here, pixel by pixel, from
/// the next frame that is clean there, before bands are made, or their light would bleed into the broad bands
/// on both sides of a seam. Detail is kept only near where `shown` (CV_8UC1, of `area`'s size) is not zero;
/// elsewhere broad tones are enough. An empty `shown` means everywhere.
[[nodiscard]] FrameOnCanvas frame_on_canvas(const Scene&, FrameStore&, int view, const cv::Rect& area,
                                            const cv::Mat& shown);

}  // namespace lookdown::mosaic
