// Gradient boosting of oblivious trees on log loss, with features cut into 64 bins.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "stages/glare/boosted_trees.h"

namespace training {

/// Rows of features with a label and a weight each.
struct Samples {
  int features = 0;
  std::vector<float> values;  ///< row-major, `features` a row
  std::vector<std::uint8_t> positive;
  std::vector<float> weight;
  [[nodiscard]] std::size_t size() const { return positive.size(); }
  void add(const lookdown::glare::FeaturePlanes& planes, cv::Point at, bool is_positive, float sample_weight);
};

struct Model {
  float bias = 0;
  std::vector<lookdown::glare::Tree> trees;
  [[nodiscard]] lookdown::glare::TreeModel view() const { return {bias, trees}; }
};

struct Settings {
  int trees = 60;
  double rate = 0.2;
  double ridge = 20;  ///< on leaf values, in units of summed curvature
};
Model boost(const Samples&, const Settings&);

/// The model as C++ source of a function `name`.
std::string source_of(const Model&, const std::string& name);

}  // namespace training
