/// @file
/// A curve that a person lays over the finished picture: camera raw developed without one looks flat. It
/// changes what is shown, not what is measured: seams, colours and masks are worked out before it.
#pragma once

#include <opencv2/core.hpp>
#include <string>
#include <vector>

namespace lookdown::mosaic {

/// From dark to light by way of given points: cubic between them, never falling where they do not.
///
/// F. N. Fritsch and J. Butland, "A method for constructing local monotone piecewise cubic interpolants",
/// SIAM J. Sci. Stat. Comput. 5:300-304 (1984); ends by one-sided differences held to the shape (C. Moler,
/// "Numerical Computing with MATLAB", SIAM 2004, section 3.6).
class ToneCurve {
 public:
  /// Changes nothing.
  ToneCurve() = default;

  /// `points` as "0,0 0.25,0.18 0.75,0.84 1,1": from and to, both 0 to 1 of the coded (sRGB) value, at least
  /// two of them, `from` rising and `to` not falling. Before the first and after the last the curve is level.
  /// Empty text: no change. Throws std::runtime_error that says what is wrong.
  explicit ToneCurve(const std::string& points);

  [[nodiscard]] bool changes_nothing() const { return from_.empty(); }
  [[nodiscard]] double at(double coded) const;

  /// CV_32FC3 code values 0..255 with fractions, in place; each channel by itself.
  void apply(cv::Mat& colours) const;

 private:
  std::vector<double> from_, to_, slope_;
  std::vector<float> table_;  ///< of evenly spaced code values, for `apply`
};

}  // namespace lookdown::mosaic
