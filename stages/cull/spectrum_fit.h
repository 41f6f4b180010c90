// A model of blur fitted to the mean log spectrum of a frame.
//
// Model, with frequency vector f in cycles/px and u the unit vector along the smear:
//   log P(f) = log( e^c |f|^-a exp(-4 pi^2 s^2 |f|^2) sinc^2(L f.u) + e^(n0 + n1 |f|^2) )
// Scenes follow a power law |f|^-a with a near 2 (Field, J. Opt. Soc. Am. A 4:2379, 1987); a Gaussian of standard deviation s and a uniform
// smear of length L multiply the spectrum by the squares of their transfer functions; noise and coding add a floor. The nulls of the sinc
// lie on lines across the smear, 1/L apart, whatever the scene: they give L and the direction.
#pragma once

#include <array>
#include <opencv2/core.hpp>
#include <vector>

namespace lookdown::cull {

/// Mean log spectrum at every second frequency, smoothed by the spacing; axes and the slowest frequencies left out.
struct SpectrumSamples {
  std::vector<float> fx, fy;     ///< cycles/px, x right, y UP
  std::vector<float> log_power;
};
[[nodiscard]] SpectrumSamples samples_of(const cv::Mat& log_power);

struct SpectrumFit {
  double level = 0;         ///< c
  double slope = 2;         ///< a
  double variance_px2 = 0;  ///< s^2
  double smear_px = 0;      ///< L
  double direction_rad = 0; ///< of u, counter-clockwise from +x, y up
  double floor = 0;         ///< n0
  double floor_slope = 0;   ///< n1
  double cost = 0;          ///< mean robust squared residual, in units of (0.3)^2; what is left unexplained
};

/// Levenberg-Marquardt from the given start. `with_smear` = false holds L at 0.
[[nodiscard]] SpectrumFit fit_spectrum(const SpectrumSamples&, SpectrumFit start, bool with_smear);

/// Level, slope and floor to start from.
[[nodiscard]] SpectrumFit first_guess(const SpectrumSamples&);

}  // namespace lookdown::cull
