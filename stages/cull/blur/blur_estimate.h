// Blur of a frame or a part of it from its mean spectrum.
#pragma once

#include "stages/cull/blur/blur_features.h"
#include "stages/cull/spectrum/log_periodogram.h"

namespace lookdown::cull {

struct BlurEstimate {
  double log_odds_blurred =
      0;                 ///< of a smear of 3 px and more or a Gaussian of 1.3 px and more, against neither
  double sigma_px = 0;   ///< standard deviation of the blur across the smear
  double widest_px = 0;  ///< standard deviation of the blur in its widest direction, smear included
  double spread = 0;     ///< relative standard deviation of widest_px
  double log_odds_smeared = 0;
  double smear_px = 0;         ///< length of the smear, if it is one
  double learnt_smear_px = 0;  ///< what the networks alone make of it
  double smear_deg = 0;        ///< 0..180 counter-clockwise from +x, y up
  SpectrumFit smear_fit;       ///< from which length and direction come
  double edges_settle = 0;     ///< 0..1, how far many edges of one width settle the width
};

/// Widths along all axes by the first network, put together to a direction and two widths.
[[nodiscard]] DirectedWidth coarse_blur(const DirectionBands&);

/// The whole way: coarse direction, a first answer, fits, all weighed together. `mean` must hold at least one
/// tile; `regions`: coarse widths of the parts that show any.
[[nodiscard]] BlurEstimate estimate_blur(const MeanSpectrum& mean, const std::vector<DirectedWidth>& regions);

}  // namespace lookdown::cull
