// By what weights the evidence tells a horizon. Made by tests/bench/level/train_horizon of rendered and drawn
// frames and of photographs that packages carry, each in several lights: the right line of a picture against
// its other lines and against "none", where a false horizon counts three times what a missed one does.
#pragma once

#include "stages/level/search/horizon_evidence.h"

namespace lookdown::level {

/// Of the decision among refined lines.
inline constexpr Evidence kWeights{
    -19.78,  2.885,   -1.296,  1.708, -2.111,  2.256,   1.572,   0.1952, 0.9568,  -1.544,  -1.342, -0.563,
    0.9494,  -0.883,  0.3097,  1.302, -0.9183, -2.339,  -4.156,  1.526,  -0.9381, 1.524,   0.8699, 5.861,
    -0.5819, -0.3906, -0.2676, 0.44,  0.6836,  -0.2084, -0.3398, 1.078,  -2.519,  -0.2912, -1.707};

/// Of the regions alone, for the glance and the order of first lines. At a glance a sum of 0 is even.
inline constexpr Evidence kRegionWeights{
    -13.44, 0,      0,      0,     0,      2.637,  2.365,  0.3543, 0.8696, -2.72,   -1.338, -0.6666,
    0.8622, -1.299, 0.8196, 1.163, -1.918, -1.643, -2.668, 1.4,    -1.036, 0.3188,  1.198,  5.992,
    0,      0,      0,      0,     0,      0,      0,      0,      -1.348, -0.4697, -0.573};

}  // namespace lookdown::level
