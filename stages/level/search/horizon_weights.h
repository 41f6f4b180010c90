// By what weights the evidence tells a horizon. Made by tests/bench/level/train_horizon of rendered and drawn
// frames and of photographs that packages carry, each in several lights: the right line of a picture against
// its other lines and against "none", where a false horizon counts three times what a missed one does.
#pragma once

#include "stages/level/search/horizon_evidence.h"

namespace lookdown::level {

/// Of the decision among refined lines.
inline constexpr Evidence kWeights{
    -21.37,  2.991,   -1.004,  3.491,  -2.338, 2.099,  1.681,   0.3415, 1.08,   -1.909,  -1.977, -0.5315,
    1.053,   -0.8417, 0.3285,  1.378,  -1.055, -6.738, -3.749,  1.225,  -1.592, 1.385,   0.6418, 5.052,
    -0.4336, -0.319,  -0.2633, 0.1619, 0.8031, 0.4414, -0.0742, 1.191,  -3.854, -0.5241, -1.36};

/// Of the regions alone, for the glance and the order of first lines.
inline constexpr Evidence kRegionWeights{
    0,     0,       0,       0,      0,      0.1936, 0.5109, 1.034,  0.9612, -0.134, -0.9023, -0.3263,
    1.216, -0.6246, -0.6277, 0.6557, -1.135, -5.906, -2.143, 0.9819, 2.449,  0.9137, 0.1912,  1.264,
    0,     0,       0,       0,      0,      0,      0,      0,      -10.4,  -2.561, 1.93};

}  // namespace lookdown::level
