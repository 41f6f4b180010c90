// Everything that the cull has learnt of blur, made anew from fixed seeds.
#pragma once

#include <filesystem>
#include <iosfwd>
#include <vector>

#include "pictures/photographs.h"
#include "stages/cull/blur/network/blur_network.h"
#include "training/labelled_spectrum.h"

namespace lookdown::bench {

struct BlurNetworks {
  cull::BlurNetwork directional, whole, evidence;
};

/// Pictures with random blur: parts of the photographs and, for one in four, textures made from random
/// numbers. Each picture has a seed of its own, so that the answer does not depend on the number of threads.
[[nodiscard]] std::vector<LabelledSpectrum> blurred_samples(const std::vector<Photograph>&, int count,
                                                            unsigned seed);

/// The first two networks learn from all samples. The last must learn how far these can be trusted on ground
/// that they have not seen, so it learns from the answers that others like them, fitted to half of the
/// sources, give for the other half (stacking: Wolpert, Neural Networks 5:241, 1992).
[[nodiscard]] BlurNetworks fit_blur_networks(const std::vector<LabelledSpectrum>&);

/// One line: how well the networks tell the blur of the samples.
void print_scores(std::ostream&, const char* name, const BlurNetworks&, const std::vector<LabelledSpectrum>&);

/// Writes FOLDER/{directional_width,whole,evidence}_network.inc.
void write_networks(const std::filesystem::path& folder, const BlurNetworks&);

}  // namespace lookdown::bench
