// A sum of small decision trees that ask the same questions on a level ("oblivious" trees; gradient boosting:
// Friedman, Annals of Statistics 29:1189, 2001). Private to the stage (and to its training program, which
// writes the tables).
#pragma once

#include <opencv2/core.hpp>
#include <span>

#include "stages/glare/glare_search.h"

namespace lookdown::glare {

inline constexpr int kTreeDepth = 5;

struct Tree {
  int feature[kTreeDepth];
  float limit[kTreeDepth];  ///< question k: feature > limit; its answer is bit k of the leaf's number
  float value[1 << kTreeDepth];
};

struct TreeModel {
  float bias;
  std::span<const Tree> trees;
};

/// Log odds at every pixel (CV_32FC1); where `where` (CV_8UC1) is 0 the bias is left. An empty `where` means
/// everywhere.
[[nodiscard]] cv::Mat log_odds(const TreeModel&, const FeaturePlanes&, const cv::Mat& where = {});
/// 1 / (1 + exp(-x)).
[[nodiscard]] cv::Mat chance_of(const cv::Mat& log_odds);

/// The trained tables (model_tables.cpp): water from the look of a pixel's surroundings, water again with the
/// first answer's surroundings.
[[nodiscard]] TreeModel water_look_model();
[[nodiscard]] TreeModel water_context_model();

}  // namespace lookdown::glare
