// What rendering needs of the whole mosaic.
#pragma once

#include <vector>

#include "stages/mosaic/canvas.h"
#include "stages/mosaic/geometry/frame_view.h"
#include "stages/mosaic/overview/label_map.h"
#include "stages/mosaic/overview/overview.h"
#include "stages/mosaic/radiometry/colour_model.h"
#include "stages/mosaic/radiometry/tone_curve.h"

namespace lookdown::mosaic {

/// All of it read-only and shared between threads.
struct Scene {
  const Canvas& canvas;
  const std::vector<FrameView>& views;
  const Survey& survey;
  const LabelMap& choice;
  const ColourModel& colours;
  int bits = 8;  ///< of the mosaic's pixels, 8 or 16
  /// Frames are joined in linear light, with what they have beyond eight bits; else as code values.
  bool linear_light = false;
  ToneCurve tones = {};  ///< over what is finished
};

/// Survey cells under `area` (canvas pixels) with `rim` more around, cut at the canvas.
[[nodiscard]] cv::Rect cells_round(const Survey& survey, const cv::Rect& area, int rim);

}  // namespace lookdown::mosaic
