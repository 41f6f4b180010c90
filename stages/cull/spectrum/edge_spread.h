// Widths of edges along their gradients, by direction: no edge is narrower than the blur across it.
#pragma once

#include <array>
#include <cstdint>
#include <opencv2/core.hpp>

namespace lookdown::cull {

inline constexpr int kEdgeDirections = 8;  ///< of the gradient, over 180 degrees; bin k is centred on k
                                           ///< * 22.5 degrees counter-clockwise from +x, y up
inline constexpr int kEdgeBins = 40;       ///< of the logarithm of the width

/// How many edges of which width, by direction of the gradient.
class EdgeHistogram {
 public:
  void add(int direction, double sigma_px);
  EdgeHistogram& operator+=(const EdgeHistogram&);
  [[nodiscard]] double count() const;
  [[nodiscard]] double count(int direction) const;
  /// Width (standard deviation, px) below which a share of the edges lies; 0 when there are none.
  /// Neighbouring bins are interpolated.
  [[nodiscard]] double quantile(double share) const;
  /// The same of the edges whose gradient lies within about 22.5 degrees of the direction (radians,
  /// counter-clockwise from +x, y up).
  [[nodiscard]] double quantile(double share, double direction_rad) const;
  [[nodiscard]] double count(double direction_rad) const;

  std::array<std::array<float, kEdgeBins>, kEdgeDirections> counts{};

 private:
  [[nodiscard]] std::array<double, kEdgeBins> around(double direction_rad) const;
};

/// Edges are the crests of the gradient that stand well above the noise. Their width follows from how much of
/// the gradient a re-blur of known width leaves (Zhuo & Sim, Pattern Recognition 44:1852, 2011): a step of
/// standard deviation s keeps s / sqrt(s^2 + r^2) of it. `grey`: CV_8UC1; `noise_power`: variance of the
/// noise, grey levels squared.
[[nodiscard]] EdgeHistogram edge_histogram(const cv::Mat& grey, double noise_power);

}  // namespace lookdown::cull
