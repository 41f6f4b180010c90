// Light that changes over a frame and from frame to frame: shadows of passing clouds, haze.
#pragma once

#include <vector>

#include "stages/mosaic/geometry/frame_view.h"
#include "stages/mosaic/radiometry/colour_model.h"
#include "stages/mosaic/radiometry/overlaps.h"

namespace lookdown::mosaic {

/// Gives each view of `model` a smooth field of ln light (FrameColour::log_field) with which the views agree
/// where they overlap: bilinear between a few nodes, solved for all frames together by least squares with
/// Cauchy weights; priors keep the fields small and smooth, so that real tones, which all views share, stay.
/// `spots`: what overlaps show before any correction. Held-back spots decide: where the fields do not bring
/// them clearly closer, as under a steady light, the model stays as it is.
void add_light_fields(const std::vector<FrameView>&, const std::vector<SharedSpot>& spots,
                      ColourModel& model);

}  // namespace lookdown::mosaic
