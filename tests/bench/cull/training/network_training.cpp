#include "training/network_training.h"

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <numeric>
#include <ostream>
#include <random>

namespace lookdown::bench {
namespace {

using Matrix = Eigen::MatrixXf;

/// First and second moments of one parameter's gradient.
struct Moments {
  Matrix first, second;
};

void adam_step(Eigen::Ref<Matrix> parameter, const Matrix& gradient, Moments& moments, double rate,
               int step) {
  constexpr float kFirst = 0.9F, kSecond = 0.999F;
  if (moments.first.size() == 0) {
    moments.first = Matrix::Zero(gradient.rows(), gradient.cols());
    moments.second = moments.first;
  }
  moments.first = kFirst * moments.first + (1 - kFirst) * gradient;
  moments.second = kSecond * moments.second + (1 - kSecond) * gradient.cwiseProduct(gradient);
  const auto scale = static_cast<float>(rate / (1 - std::pow(kFirst, step)));
  const auto root = static_cast<float>(1 / std::sqrt(1 - std::pow(kSecond, step)));
  parameter.array() -= scale * moments.first.array() / (root * moments.second.array().sqrt() + 1e-8F);
}

cull::BlurNetwork fresh_network(const Matrix& inputs, const TrainingOptions& options, std::mt19937& random) {
  cull::BlurNetwork network;
  network.mean = inputs.rowwise().mean();
  const Matrix centred = inputs.colwise() - network.mean;
  network.scale = (centred.rowwise().squaredNorm() / inputs.cols()).cwiseSqrt().array() + 1e-3F;
  std::vector<int> sizes{static_cast<int>(inputs.rows())};
  sizes.insert(sizes.end(), options.hidden.begin(), options.hidden.end());
  sizes.push_back(options.outputs);
  for (std::size_t i = 0; i + 1 < sizes.size(); ++i) {
    std::normal_distribution<float> normal(0, std::sqrt(2.0F / sizes[i]));
    network.weights.push_back(Matrix::NullaryExpr(sizes[i + 1], sizes[i], [&] { return normal(random); }));
    network.offsets.push_back(Eigen::VectorXf::Zero(sizes[i + 1]));
  }
  return network;
}

}  // namespace

cull::BlurNetwork fit_network(const Matrix& inputs, const LossGradient& loss_gradient,
                              const TrainingOptions& options) {
  std::mt19937 random(options.seed);
  cull::BlurNetwork network = fresh_network(inputs, options, random);
  const std::size_t layers = network.weights.size();
  const Matrix scaled = ((inputs.colwise() - network.mean).array().colwise() / network.scale.array())
                            .max(-cull::BlurNetwork::kInputLimit)
                            .min(cull::BlurNetwork::kInputLimit);
  std::vector<Moments> weight_moments(layers), offset_moments(layers);
  std::vector<int> order(inputs.cols());
  std::iota(order.begin(), order.end(), 0);
  std::normal_distribution<float> noise(0, static_cast<float>(options.input_noise));
  int step = 0;
  for (int round = 0; round < options.rounds; ++round) {
    std::shuffle(order.begin(), order.end(), random);
    const double rate = options.first_rate * (1 - static_cast<double>(round) / options.rounds) + 1e-5;
    for (std::size_t first = 0; first < order.size(); first += options.batch) {
      const std::vector<int> members(order.begin() + first,
                                     order.begin() + std::min(order.size(), first + options.batch));
      std::vector<Matrix> values{Matrix(inputs.rows(), members.size())};
      for (std::size_t i = 0; i < members.size(); ++i) values[0].col(i) = scaled.col(members[i]);
      values[0] += Matrix::NullaryExpr(values[0].rows(), values[0].cols(), [&] { return noise(random); });
      for (std::size_t i = 0; i < layers; ++i) {
        Matrix next = (network.weights[i] * values[i]).colwise() + network.offsets[i];
        if (i + 1 < layers) next = next.cwiseMax(cull::BlurNetwork::kLeak * next);
        values.push_back(std::move(next));
      }
      Matrix gradient = loss_gradient(values.back(), members) / static_cast<float>(members.size());
      ++step;
      for (std::size_t i = layers; i-- > 0;) {
        if (i + 1 < layers)
          gradient = (values[i + 1].array() > 0).select(gradient, cull::BlurNetwork::kLeak * gradient);
        const Matrix weight_gradient =
            gradient * values[i].transpose() + static_cast<float>(options.weight_decay) * network.weights[i];
        const Matrix offset_gradient = gradient.rowwise().sum();
        gradient = network.weights[i].transpose() * gradient;
        adam_step(network.weights[i], weight_gradient, weight_moments[i], rate, step);
        adam_step(network.offsets[i], offset_gradient, offset_moments[i], rate, step);
      }
    }
  }
  return network;
}

void write_network(std::ostream& out, const std::string& name, const cull::BlurNetwork& network) {
  std::vector<float> numbers{static_cast<float>(network.weights.size())};
  numbers.push_back(static_cast<float>(network.weights[0].cols()));
  for (const Matrix& w : network.weights) numbers.push_back(static_cast<float>(w.rows()));
  const auto append = [&](const Eigen::VectorXf& v) {
    numbers.insert(numbers.end(), v.data(), v.data() + v.size());
  };
  append(network.mean);
  append(network.scale);
  for (std::size_t i = 0; i < network.weights.size(); ++i) {
    for (Eigen::Index row = 0; row < network.weights[i].rows(); ++row) append(network.weights[i].row(row));
    append(network.offsets[i]);
  }
  out << "// Written by fit_blur_networks (tests/bench/cull): number of layers, sizes, input means, input "
         "scales, weights and offsets by layer.\n";
  out << "inline constexpr float " << name << "[] = {\n";
  std::string line;
  for (float number : numbers) {
    char text[32];
    std::snprintf(text, sizeof text, "%.3g,", static_cast<double>(number));
    if (line.size() + std::char_traits<char>::length(text) > 150) out << line << '\n', line.clear();
    line += text;
  }
  out << line << "};\n";
}

}  // namespace lookdown::bench
