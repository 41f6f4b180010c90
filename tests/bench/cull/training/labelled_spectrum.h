// What is kept of a picture with known blur for fitting the networks.
#pragma once

#include <optional>
#include <vector>

#include "pictures/blur_samples.h"
#include "stages/cull/blur/blur_features.h"

namespace lookdown::bench {

struct LabelledSpectrum {
  int source = 0;  ///< pictures of one source are alike: they are kept apart together
  BlurRecipe recipe;
  cull::SpectrumContext context;
  cull::DirectionBands bands;
  cull::SpectrumFits fits;
  cull::EdgeHistogram edges;
  std::vector<cull::DirectionBands> regions;  ///< of the parts that tell
};

/// Spectrum of a picture by the way that the program measures one; nothing when no tile has detail.
[[nodiscard]] std::optional<LabelledSpectrum> labelled_spectrum(const cv::Mat& bgr, int source,
                                                                const BlurRecipe&);

}  // namespace lookdown::bench
