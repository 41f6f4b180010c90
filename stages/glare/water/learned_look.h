// What water and ground of one flight look like, learned from that flight alone. Private to the stage (and
// its tests and benchmark).
#pragma once

#include <Eigen/Core>
#include <optional>
#include <vector>

#include "stages/glare/water/look.h"

namespace lookdown::glare {

/// Patches of which something is believed.
struct LookSamples {
  std::vector<Look> looks;
  std::vector<float> weights;                         ///< at least 0; how much each counts
  std::vector<char> water;                            ///< 1: believed to be water, 0: ground
  void add(const LookSamples&, double log_exposure);  ///< of the frame that they are from
};

/// Logistic regression on the numbers of a look, their squares and products: what is believed of single
/// patches, rightly or not, becomes what the flight's water and ground look like on the whole (self-training,
/// as in Rother et al., "GrabCut", ACM Trans. Graphics 23:309, 2004; Newton's method with a ridge: le Cessie
/// & van Houwelingen, Appl. Statist. 41:191, 1992).
class LearnedLook {
 public:
  /// Empty where water or ground is too scarce among the samples to know either.
  [[nodiscard]] static std::optional<LearnedLook> from(const LookSamples&);
  /// Log-odds of water, one a patch.
  [[nodiscard]] std::vector<float> log_odds(const std::vector<Look>&) const;

 private:
  LearnedLook() = default;
  [[nodiscard]] Eigen::VectorXd terms(const Look&) const;

  Eigen::VectorXd mean_, spread_;  // of the look's numbers
  Eigen::VectorXd weights_;        // of the terms
};

}  // namespace lookdown::glare
