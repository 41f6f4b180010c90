// Fitting a small network by stochastic gradients.
#pragma once

#include <functional>
#include <iosfwd>
#include <string>

#include "stages/cull/blur/network/blur_network.h"

namespace lookdown::bench {

struct TrainingOptions {
  std::vector<int> hidden = {24, 12};
  int outputs = 1;
  int rounds = 60;
  int batch = 64;
  double first_rate = 2e-3;
  double weight_decay = 2e-5;
  double input_noise = 0.05;  ///< added to the scaled inputs
  unsigned seed = 1;
};

/// Derivative of the loss with respect to the outputs (rows: outputs, columns: members of the batch);
/// `members` are their indices.
using LossGradient =
    std::function<Eigen::MatrixXf(const Eigen::MatrixXf& outputs, const std::vector<int>& members)>;

/// Adam (Kingma & Ba, ICLR 2015) with a rate that falls to zero. `inputs`: one column a sample.
[[nodiscard]] cull::BlurNetwork fit_network(const Eigen::MatrixXf& inputs, const LossGradient&,
                                            const TrainingOptions&);

/// Writes `inline constexpr float NAME[] = {...};` as blur_network.cpp reads it.
void write_network(std::ostream&, const std::string& name, const cull::BlurNetwork&);

}  // namespace lookdown::bench
