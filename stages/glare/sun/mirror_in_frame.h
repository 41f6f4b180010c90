// Where one frame shows the sun mirrored, from its own glitter. Private to the stage (and its tests and
// benchmark).
#pragma once

#include <optional>

#include "pipeline/geometry/camera.h"
#include "pipeline/record/flight_record.h"
#include "stages/glare/frame_masks.h"

namespace lookdown::glare {

/// The mirror point of flat water: the sun and slope of waves whose facets explain best where the frame's
/// water glitters and where it does not (Cox & Munk 1954, as sun_from_glint), so that a shore that cuts the
/// glitter off does not draw its middle aside. `tilt`: straight down as far as it is known, else the optical
/// axis; it shapes the glitter but hardly moves its middle, since a facet that lies flat mirrors the sun
/// along that direction whatever the tilt. Empty where the glitter does not tell it to kMostMirrorSigmaDeg,
/// or it lies outside the frame.
[[nodiscard]] std::optional<MirrorPoint> mirror_in_frame(const FrameMasks&, const Camera&,
                                                         const std::optional<Tilt>& tilt);

inline constexpr double kMostMirrorSigmaDeg = 3;

}  // namespace lookdown::glare
