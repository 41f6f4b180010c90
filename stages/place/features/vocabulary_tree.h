// Which frames of a flight probably show the same ground, from a compact signature of each: how often each
// visual word occurs, rare words weighing more (Sivic & Zisserman, ICCV 2003), the words being leaves of a
// tree grown on the flight itself (Nister & Stewenius, CVPR 2006). Time grows linearly with the number of
// frames.
#pragma once

#include <vector>

#include "stages/place/features/features.h"

namespace lookdown::place {

/// For each frame the `most` most similar other frames, best first. Deterministic.
[[nodiscard]] std::vector<std::vector<int>> look_alikes(const std::vector<FrameFeatures>& frames, int most);

}  // namespace lookdown::place
