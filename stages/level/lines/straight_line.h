// Straight, coherent edges: weak ones that keep their course across the whole picture.
#pragma once

#include <Eigen/Core>
#include <vector>

#include "stages/level/lines/edge_profiles.h"
#include "stages/level/lines/offset_slope.h"

namespace lookdown::level {

/// A straight edge through a strip of profiles.
struct CoherentLine {
  OffsetSlope course;
  Eigen::Vector3f direction =
      Eigen::Vector3f::Zero();  ///< colour that steps across it, unit length, larger above
  double coherence = 0;         ///< mean over profiles of the step in units of the noise, each clipped: 0..1
};

/// Straight edges within a strip, most coherent first, at most `most`. A sea horizon in haze is far weaker
/// than the shore below it but steps the same way at every profile; so each profile has a bounded say (a
/// Radon transform of clipped, noise-normalised steps, three colours apart). Slopes up to +-0.1. Steps are
/// seen over `window_px` a side: what a blurred edge needs.
[[nodiscard]] std::vector<CoherentLine> coherent_lines(const Profiles&, double window_px, std::size_t most);

/// Coherence of the edge along one slanted line, whose place may be off by half a step.
[[nodiscard]] CoherentLine coherence_along(const Profiles&, const OffsetSlope&, double window_px);

/// How much of the step right at the line (within window_px a side) is still there beyond it, out to the ends
/// of the profiles: about 1 for an edge between two things, about 0 for a cable, which has the same sky on
/// both sides.
[[nodiscard]] double lasting_share(const Profiles&, const Eigen::Vector3f& direction, double window_px);

/// Where the edge along the line truly lies, pixels from the line, positive to the sky, looked for within
/// reach_px: the steepest spot of the mean profile along `direction`. A step seen over a window is placed up
/// to half a window too high where the far ground is a thin row of trees with haze below it as bright as the
/// sky; and even the steepest spot of a thin dark row stands off its top by about the blur. What is known of
/// the blur of `blurred` pictures is taken out: a row of half width a, blurred by s, is steepest near
/// sqrt(a^2 + s^2).
[[nodiscard]] double edge_offset_px(const Profiles&, const Eigen::Vector3f& direction, double reach_px);

}  // namespace lookdown::level
