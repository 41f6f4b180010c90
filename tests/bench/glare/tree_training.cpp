#include "tree_training.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>

namespace training {
namespace {

using lookdown::glare::kTreeDepth;
using lookdown::glare::Tree;
constexpr int kBins = 64;
constexpr int kLeaves = 1 << kTreeDepth;

// Limits between bins, at equal counts of a sample of rows.
std::vector<std::vector<float>> limits_of(const Samples& samples) {
  std::vector<std::vector<float>> limits(samples.features);
  const std::size_t step = std::max<std::size_t>(1, samples.size() / 20000);
  for (int f = 0; f < samples.features; ++f) {
    std::vector<float> column;
    for (std::size_t i = 0; i < samples.size(); i += step)
      column.push_back(samples.values[i * samples.features + f]);
    std::sort(column.begin(), column.end());
    for (int b = 1; b < kBins; ++b) limits[f].push_back(column[column.size() * b / kBins]);
  }
  return limits;
}

std::vector<std::uint8_t> binned(const Samples& samples, const std::vector<std::vector<float>>& limits) {
  std::vector<std::uint8_t> bins(samples.values.size());
  const std::size_t count = samples.size();
  for (int f = 0; f < samples.features; ++f)
    for (std::size_t i = 0; i < count; ++i) {
      // Bin b holds limits[b-1] < value <= limits[b], so that "value > limit" is "bin > b".
      const auto at =
          std::lower_bound(limits[f].begin(), limits[f].end(), samples.values[i * samples.features + f]);
      bins[f * count + i] = static_cast<std::uint8_t>(at - limits[f].begin());
    }
  return bins;
}

struct Sums {
  double gradient = 0, curvature = 0;
  [[nodiscard]] double gain(double ridge) const { return gradient * gradient / (curvature + ridge); }
};

struct Question {
  int feature = 0, bin = 0;
  double gain = -1;
};

Question best_question(const std::vector<std::uint8_t>& bins, const std::vector<std::uint8_t>& leaf,
                       int leaves, const std::vector<float>& gradient, const std::vector<float>& curvature,
                       int features, double ridge) {
  Question best;
  const std::size_t count = leaf.size();
  std::vector<Sums> histogram(leaves * kBins);
  for (int f = 0; f < features; ++f) {
    std::fill(histogram.begin(), histogram.end(), Sums{});
    const std::uint8_t* column = bins.data() + f * count;
    for (std::size_t i = 0; i < count; ++i) {
      Sums& cell = histogram[leaf[i] * kBins + column[i]];
      cell.gradient += gradient[i];
      cell.curvature += curvature[i];
    }
    std::array<double, kBins> gain{};
    for (int l = 0; l < leaves; ++l) {
      Sums all, low;
      for (int b = 0; b < kBins; ++b)
        all.gradient += histogram[l * kBins + b].gradient,
            all.curvature += histogram[l * kBins + b].curvature;
      for (int b = 0; b + 1 < kBins; ++b) {
        low.gradient += histogram[l * kBins + b].gradient;
        low.curvature += histogram[l * kBins + b].curvature;
        const Sums high{all.gradient - low.gradient, all.curvature - low.curvature};
        gain[b] += low.gain(ridge) + high.gain(ridge);
      }
    }
    for (int b = 0; b + 1 < kBins; ++b)
      if (gain[b] > best.gain) best = {f, b, gain[b]};
  }
  return best;
}

}  // namespace

void Samples::add(const lookdown::glare::FeaturePlanes& planes, cv::Point at, bool is_positive,
                  float sample_weight) {
  features = static_cast<int>(planes.planes.size());
  for (const cv::Mat& plane : planes.planes) values.push_back(plane.at<float>(at));
  positive.push_back(is_positive);
  weight.push_back(sample_weight);
}

Model boost(const Samples& samples, const Settings& settings) {
  const auto limits = limits_of(samples);
  const auto bins = binned(samples, limits);
  const std::size_t count = samples.size();
  double yes = 0, all = 0;
  for (std::size_t i = 0; i < count; ++i)
    yes += samples.positive[i] * samples.weight[i], all += samples.weight[i];
  Model model;
  model.bias = static_cast<float>(std::log(yes / (all - yes)));
  std::vector<float> odds(count, model.bias), gradient(count), curvature(count);
  std::vector<std::uint8_t> leaf(count);
  for (int t = 0; t < settings.trees; ++t) {
    for (std::size_t i = 0; i < count; ++i) {
      const float chance = 1 / (1 + std::exp(-odds[i]));
      gradient[i] = samples.weight[i] * (samples.positive[i] - chance);
      curvature[i] = samples.weight[i] * chance * (1 - chance);
      leaf[i] = 0;
    }
    Tree tree{};
    for (int level = 0; level < kTreeDepth; ++level) {
      const Question q =
          best_question(bins, leaf, 1 << level, gradient, curvature, samples.features, settings.ridge);
      tree.feature[level] = q.feature;
      tree.limit[level] = limits[q.feature][q.bin];
      const std::uint8_t* column = bins.data() + q.feature * count;
      for (std::size_t i = 0; i < count; ++i) leaf[i] |= (column[i] > q.bin) << level;
    }
    std::array<Sums, kLeaves> sums{};
    for (std::size_t i = 0; i < count; ++i)
      sums[leaf[i]].gradient += gradient[i], sums[leaf[i]].curvature += curvature[i];
    for (int l = 0; l < kLeaves; ++l)
      tree.value[l] =
          static_cast<float>(settings.rate * sums[l].gradient / (sums[l].curvature + settings.ridge));
    for (std::size_t i = 0; i < count; ++i) odds[i] += tree.value[leaf[i]];
    model.trees.push_back(tree);
  }
  return model;
}

std::string source_of(const Model& model, const std::string& name) {
  std::string text = fmt::format("constexpr Tree k_{}[] = {{\n", name);
  const std::vector<Tree> none(1);  // an untrained model stays an array that compiles
  for (const Tree& tree : model.trees.empty() ? none : model.trees) {
    text += "    {{";
    for (int k = 0; k < kTreeDepth; ++k) text += fmt::format("{}{}", k ? ", " : "", tree.feature[k]);
    text += "}, {";
    for (int k = 0; k < kTreeDepth; ++k) text += fmt::format("{}{:.5e}f", k ? ", " : "", tree.limit[k]);
    text += "}, {";
    for (int l = 0; l < kLeaves; ++l) text += fmt::format("{}{:.4f}f", l ? ", " : "", tree.value[l]);
    text += "}},\n";
  }
  return text + fmt::format("}};\nconstexpr float k_{}_bias = {:.5f}f;\n\n", name, model.bias);
}

}  // namespace training
