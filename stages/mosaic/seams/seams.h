// Where one frame gives way to the next: seams that run along low differences and keep things whole, without
// giving up good views.
#pragma once

#include "stages/mosaic/overview/label_map.h"

namespace lookdown::mosaic {

/// Improves a choice by expansion moves, each the best possible by a minimum cut: Boykov, Veksler & Zabih,
/// "Fast approximate energy minimization via graph cuts", IEEE TPAMI 23(11):1222-1239 (2001). The energy is
/// the sum of `dislike` over cells plus, for each pair of neighbours shown by different frames, what differs
/// between the two frames there. Expects corrected colours in the survey. Returns the energy.
double optimise_seams(const Survey&, LabelMap&);

/// Makes glare lose wherever some frame shows the cell without: such cells are disliked beyond any other
/// cost.
void forbid_avoidable_glare(Survey&);

}  // namespace lookdown::mosaic
