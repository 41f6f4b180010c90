#include "stages/cull/blur/network/blur_network.h"

#include <algorithm>
#include <cstddef>

namespace lookdown::cull {
namespace {

// Numbers written by the program that fits the networks (tests/bench/cull/fit_blur_networks.cpp).

#include "stages/cull/blur/network/directional_width_network.inc"
#include "stages/cull/blur/network/evidence_network.inc"
#include "stages/cull/blur/network/whole_network.inc"

/// Reads one network from a flat list: number of layers, sizes, mean, scale, then each layer's weights (row
/// by row) and offsets.
BlurNetwork unpack(const float* at) {
  BlurNetwork network;
  const int layers = static_cast<int>(*at++);
  std::vector<int> sizes;
  for (int i = 0; i <= layers; ++i) sizes.push_back(static_cast<int>(*at++));
  const auto take = [&](Eigen::Index count) {
    Eigen::VectorXf values = Eigen::Map<const Eigen::VectorXf>(at, count);
    at += count;
    return values;
  };
  network.mean = take(sizes[0]);
  network.scale = take(sizes[0]);
  for (int i = 0; i < layers; ++i) {
    using RowMajor = Eigen::Matrix<float, Eigen::Dynamic, Eigen::Dynamic, Eigen::RowMajor>;
    network.weights.emplace_back(Eigen::Map<const RowMajor>(at, sizes[i + 1], sizes[i]));
    at += static_cast<std::ptrdiff_t>(sizes[i + 1]) * sizes[i];
    network.offsets.push_back(take(sizes[i + 1]));
  }
  return network;
}

}  // namespace

Eigen::VectorXf BlurNetwork::evaluate(const Eigen::VectorXf& input) const {
  Eigen::VectorXf values = ((input - mean).array() / scale.array()).max(-kInputLimit).min(kInputLimit);
  for (std::size_t i = 0; i < weights.size(); ++i) {
    values = weights[i] * values + offsets[i];
    if (i + 1 < weights.size()) values = values.array().max(kLeak * values.array());
  }
  return values;
}

const BlurNetwork& directional_width_network() {
  static const BlurNetwork network = unpack(kDirectionalWidthNetwork);
  return network;
}

const BlurNetwork& whole_network() {
  static const BlurNetwork network = unpack(kWholeNetwork);
  return network;
}

const BlurNetwork& evidence_network() {
  static const BlurNetwork network = unpack(kEvidenceNetwork);
  return network;
}

}  // namespace lookdown::cull
