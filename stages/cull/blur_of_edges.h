// Blur from the sharpest edges and textures of a picture, direction by direction.
#pragma once

#include <array>
#include <opencv2/core.hpp>

namespace lookdown::cull {

/// What the edges of one picture (or tile) say.
struct EdgeBlur {
  double detail = 0;       ///< 0..1: share of the edge pixels wanted for a sure answer
  double sigma_px = 0;     ///< standard deviation of the blur across the smear
  double smear_px = 0;     ///< length of a uniform smear that explains what is wider along the smear
  double smear_deg = 0;    ///< 0..180 counter-clockwise from +x, y up
  double spread = 1;       ///< relative standard deviation of the width
};

/// `grey`: CV_8UC1, at least 32 x 32. An edge of a step convolved with a Gaussian of sigma s has, after one more Gaussian of
/// sigma a, a steepest slope proportional to 1 / sqrt(s^2 + a^2); the ratio of the slopes at two a gives s without knowing the
/// contrast (Zhuo & Sim, Pattern Recognition 44:1852, 2011, eq. 5, with two scales instead of one). The sharpest edges of each
/// direction tell the blur, for a scene holds soft edges too.
[[nodiscard]] EdgeBlur blur_of_edges(const cv::Mat& grey);

}  // namespace lookdown::cull
