// What is kept of a picture with known blur for fitting the networks.
#pragma once

#include <filesystem>
#include <vector>

#include "blur_samples.h"
#include "stages/cull/blur/blur_features.h"

namespace lookdown::bench {

struct LabelledSpectrum {
  int source = -1;  ///< index in the list of photographs; below zero: texture made from random numbers
  BlurRecipe recipe;
  cull::SpectrumContext context;
  cull::DirectionBands bands;
  std::vector<float> log_power;  ///< of all tiles with detail: values of SpectrumSamples; the frequencies are
                                 ///< the same for all
  cull::EdgeHistogram edges;

  [[nodiscard]] double sigma_px() const;   ///< of lens and defocus or Gaussian together
  [[nodiscard]] double widest_px() const;  ///< standard deviation along the smear
  [[nodiscard]] bool sharp() const { return recipe.kind == "none"; }
  [[nodiscard]] bool blurred() const;  ///< smear >= 3 px or sigma >= 1.3 px
  [[nodiscard]] bool smeared() const { return recipe.kind == "smear"; }
};

/// Spectrum of a picture by the way that the program measures one; nothing when no tile has detail.
[[nodiscard]] std::vector<LabelledSpectrum> labelled_spectrum(const cv::Mat& bgr, int source,
                                                              const BlurRecipe&);

void append_to_file(const std::filesystem::path&, const LabelledSpectrum&);
[[nodiscard]] std::vector<LabelledSpectrum> read_spectra(const std::filesystem::path&);
/// The frequencies at which log_power was taken.
[[nodiscard]] cull::SpectrumSamples with_frequencies(const std::vector<float>& log_power);

}  // namespace lookdown::bench
