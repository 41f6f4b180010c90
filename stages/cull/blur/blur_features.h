// Numbers drawn from a mean spectrum that tell blur from content: the spectrum by direction and frequency,
// seen from one axis.
#pragma once

#include <Eigen/Core>
#include <array>
#include <vector>

#include "stages/cull/spectrum/log_periodogram.h"
#include "stages/cull/spectrum/spectrum_fit.h"

namespace lookdown::cull {

inline constexpr int kAxes = 16;   ///< directions over 180 degrees
inline constexpr int kBands = 14;  ///< rings of frequency, 0 to 0.5 cycles/px
inline constexpr int kRelative =
    kAxes / 2 + 1;  ///< directions seen from an axis when left and right count the same

/// Mean log power by direction (row k: k * 180 / kAxes degrees counter-clockwise from +x, y up) and ring.
using DirectionBands = Eigen::Matrix<float, kAxes, kBands, Eigen::RowMajor>;
[[nodiscard]] DirectionBands direction_bands(const cv::Mat& log_periodogram);

/// What the whole spectrum says beside its shape.
struct SpectrumContext {
  int tiles = 0;
  double middle_over_noise = 0;
};

/// The spectrum as seen from the axis `position` (in steps of 180 / kAxes degrees; between two axes it is
/// interpolated), less the level of the slow frequencies. Left and right of the axis are averaged: a mirrored
/// picture must give the same answer.
inline constexpr int kDirectionalFeatures = kRelative * kBands + 2;
using DirectionalFeatures = Eigen::Matrix<float, kDirectionalFeatures, 1>;
[[nodiscard]] DirectionalFeatures directional_features(const DirectionBands&, double position);

/// Standard deviations of the blur along and across the direction in which it is widest.
struct DirectedWidth {
  double direction_rad = 0;  ///< counter-clockwise from +x, y up
  double widest_px = 0;
  double narrowest_px = 0;
  [[nodiscard]] double along_px(double direction_rad) const;
  [[nodiscard]] double smear_px() const;  ///< length of the uniform smear that explains the difference
};
/// Least-squares fit of w^2(t) = c0 + c1 cos 2t + c2 sin 2t, exact for a Gaussian with a uniform smear, to
/// widths on all axes.
[[nodiscard]] DirectedWidth directed_width(const std::array<double, kAxes>& widths_px);

/// Spectrum of the sharpest tiles from the axis along which the blur is widest, with how much there was to
/// see.
inline constexpr int kWholeFeatures = kDirectionalFeatures + 4;
using WholeFeatures = Eigen::Matrix<float, kWholeFeatures, 1>;
[[nodiscard]] WholeFeatures whole_features(const DirectionBands&, const SpectrumContext&,
                                           const DirectedWidth& start);

/// The spectrum of all tiles explained by a Gaussian alone, with a smear, with a disc.
struct SpectrumFits {
  SpectrumFit gaussian, smear, disc;
};
[[nodiscard]] SpectrumFits fit_shapes(const SpectrumSamples&);

/// What the learnt look at the spectrum, the fits and the edges say, side by side.
inline constexpr int kEvidenceFeatures = 37;
using EvidenceFeatures = Eigen::Matrix<float, kEvidenceFeatures, 1>;
/// `first_answer`: output of the whole network; `regions`: coarse widths of the parts of the frame.
[[nodiscard]] EvidenceFeatures evidence_features(const Eigen::VectorXf& first_answer, const SpectrumContext&,
                                                 const DirectedWidth& start, const SpectrumFits&,
                                                 const EdgeHistogram&,
                                                 const std::vector<DirectedWidth>& regions);

}  // namespace lookdown::cull
