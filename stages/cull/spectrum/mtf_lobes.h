// Squared transfer functions of a uniform smear and of a uniform disc, with their derivatives, for many
// arguments at once.
#pragma once

#include <Eigen/Core>

namespace lookdown::cull {

/// A number for each sample of a spectrum, of which there are at most so many; kept off the heap.
inline constexpr int kMostSamples = 768;
using SampleNumbers = Eigen::Array<float, Eigen::Dynamic, 1, Eigen::ColMajor, kMostSamples, 1>;

/// (sin(pi s) / (pi s))^2 and its derivative by s.
void squared_sinc(const SampleNumbers& s, SampleNumbers& value, SampleNumbers& derivative);

/// (2 J1(2 pi r) / (2 pi r))^2 and its derivative by r; from a table, to 1e-4.
void squared_jinc(const SampleNumbers& r, SampleNumbers& value, SampleNumbers& derivative);

}  // namespace lookdown::cull
