// A small fully connected network: turns spectral features into blur.
#pragma once

#include <Eigen/Core>
#include <vector>

namespace lookdown::cull {

/// Inputs are centred, scaled and held within +-kInputLimit; hidden layers are leaky rectifiers with kLeak
/// below zero; the last layer is linear.
struct BlurNetwork {
  static constexpr float kInputLimit = 6;
  static constexpr float kLeak = 0.1F;

  Eigen::VectorXf mean, scale;           ///< of the inputs; scale is the standard deviation
  std::vector<Eigen::MatrixXf> weights;  ///< outputs x inputs of each layer
  std::vector<Eigen::VectorXf> offsets;

  [[nodiscard]] Eigen::VectorXf evaluate(const Eigen::VectorXf& input) const;
};

/// Natural logarithm of the standard deviation of the blur along the axis that the features are seen from.
/// Input: DirectionalFeatures.
[[nodiscard]] const BlurNetwork& directional_width_network();

/// What the other two networks answer.
enum BlurOutput {
  kLogOddsBlurred,   ///< of a smear of 3 px or more, or a Gaussian of 1.3 px or more, against neither
  kLogNarrowest,     ///< standard deviation across the smear, px
  kLogWidest,        ///< standard deviation along the smear, px
  kLogSmear,         ///< length of the smear where there is one, px
  kLogWidestSpread,  ///< scale of the Laplace-distributed error of kLogWidest
  kLogOddsSmeared,   ///< of a smear of 3 px or more against none
  kBlurOutputs
};
/// A first answer from the spectrum alone. Input: WholeFeatures.
[[nodiscard]] const BlurNetwork& whole_network();
/// Weighs that answer, the fits and the edges against each other. Input: EvidenceFeatures.
[[nodiscard]] const BlurNetwork& evidence_network();

}  // namespace lookdown::cull
