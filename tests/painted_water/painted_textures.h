// Chance, noise and colours that painted scenes are made of. Private to the painter.
#pragma once

#include <cmath>
#include <numbers>
#include <opencv2/core.hpp>
#include <random>

namespace painted {

inline constexpr double kPi = std::numbers::pi;
using Colour = cv::Vec3f;  ///< linear light; blue, green, red

/// Draws that are the same for the same seed on every machine.
struct Lot {
  std::mt19937 engine;
  double between(double a, double b) { return a + (b - a) * (static_cast<double>(engine()) / 4294967296.0); }
  bool chance(double p) { return between(0, 1) < p; }
  int pick(int n) { return std::min(n - 1, static_cast<int>(between(0, n))); }
  double normal() { return std::sqrt(-2 * std::log(between(1e-9, 1))) * std::cos(2 * kPi * between(0, 1)); }
};

/// Smooth noise of unit deviation (CV_32FC1) whose blobs are about `scale_px` across; stretched by `stretch`
/// along `angle` radians.
cv::Mat noise(Lot&, cv::Size, double scale_px, double stretch = 1, double angle = 0);

/// Sum of noises from `coarsest_px` down to `finest_px` by halves, each `gain` times as strong as the coarser
/// one; unit deviation.
cv::Mat fractal(Lot&, cv::Size, double coarsest_px, double finest_px, double gain);

/// A colour of the hue wheel (degrees) with saturation 0..1, scaled to the luminance `albedo` 0..1.
Colour colour_of(double hue_deg, double saturation, double albedo);

/// One kind of ground cover (lawn, soil, gravel, sand, trees, ...) drawn by lot, CV_32FC3 albedo with its own
/// colour, contrast and grain; `scale`: size of things in pixels.
cv::Mat cover(Lot&, cv::Size, double scale);

/// Weights of blue, green and red in luminance, ITU-R BT.709.
inline const cv::Matx13f kLuminance(0.0722f, 0.7152f, 0.2126f);

/// How a camera writes linear light down.
struct Development {
  double saturation = 1;  ///< 1 leaves colours as they are
  double gamma = 1;       ///< times the usual 1 / 2.2
  double grain = 1;       ///< standard deviation in 8-bit steps
};

/// CV_8UC3 of a picture in linear light (CV_32FC3, 1 is white), with grain drawn from the lot.
cv::Mat as_stored(const cv::Mat& picture, const Development&, Lot&);

}  // namespace painted
