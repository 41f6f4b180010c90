// A model of blur fitted to the mean log spectrum of a frame.
//
// Model, with frequency vector f in cycles/px at the angle t and u the unit vector along the smear:
//   log P(f) = log( e^(c + A(t)) |f|^-a exp(-4 pi^2 s^2 |f|^2) (B(f) + q) + e^(n0 + nx fx^2 + ny fy^2) )
// Scenes follow a power law |f|^-a with a near 2 (Field, J. Opt. Soc. Am. A 4:2379, 1987). A(t) is what they
// hold more of in some directions: straight edges of roofs, walls and paths put power on rays across them, at
// all frequencies alike, which a blur never does. A Gaussian of standard deviation s multiplies the spectrum
// by the square of its transfer function, and so does B: sinc^2(L f.u) of a uniform smear of length L, with
// nulls on lines across the smear 1/L apart, or (2 J1(2 pi R |f|) / (2 pi R |f|))^2 of a lens out of focus
// with the disc of radius R, with nulls on rings (Goodman, Introduction to Fourier Optics, severe defocus). q
// fills the nulls: the window, a motion that is not quite even, a smear that turns over the frame. Noise and
// coding add the floor; JPEG rounds rows and columns apart.
#pragma once

#include <array>
#include <opencv2/core.hpp>
#include <vector>

namespace lookdown::cull {

/// Mean log spectrum at every second frequency, smoothed by the spacing; axes and the slowest frequencies
/// left out.
struct SpectrumSamples {
  std::vector<float> fx, fy;  ///< cycles/px, x right, y UP
  std::vector<float> log_periodogram;
};
[[nodiscard]] SpectrumSamples samples_of(const cv::Mat& log_periodogram);

/// What the fit may use to explain the spectrum beside the Gaussian.
enum class BlurShape { none, motion, disc };

inline constexpr int kContentAngles = 24;  ///< nodes of A over 180 degrees, linear in between

struct SpectrumFit {
  double level = 0;                 ///< c
  double slope = 2;                 ///< a
  double variance_px2 = 0;          ///< s^2
  double length_px = 0;             ///< L of a smear, R of a disc
  double direction_rad = 0;         ///< of u, counter-clockwise from +x, y up
  double floor = 0;                 ///< n0
  double floor_x = 0, floor_y = 0;  ///< nx, ny
  double log_filled = -5;           ///< log q
  std::array<double, kContentAngles>
      content{};  ///< A at k * 180 / kContentAngles degrees counter-clockwise from +x, y up
  double cost =
      0;  ///< mean robust squared residual, in units of (0.3)^2, and what the priors ask for the rest
};

/// Levenberg-Marquardt from places spread over all lengths and directions that can be told, for the cost has
/// a valley at each multiple of the null spacing; the best of all.
[[nodiscard]] SpectrumFit fit_spectrum(const SpectrumSamples&, BlurShape);

/// Smear near one that is known for the surroundings: lengths from half to twice of it and directions within
/// 30 degrees are tried.
[[nodiscard]] SpectrumFit refine_motion_blur(const SpectrumSamples&, const SpectrumFit& near);

}  // namespace lookdown::cull
