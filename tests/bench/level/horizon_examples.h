// What the weights of the horizon's evidence are learnt from: the terms of every line tried in a picture.
#pragma once

#include <Eigen/Core>
#include <filesystem>
#include <string>
#include <vector>

#include "stages/level/search/horizon_evidence.h"
#include "tests/bench/level/known_frames.h"

namespace lookdown::level {

/// One picture: a row of terms for every line tried, and how likely what is known would be if that line were
/// the right one, of at most 1.
struct Example {
  std::string group;  ///< kind of picture
  /// Flight, package, or where each frame has its own country and weather the frame: all examples of one
  /// are learnt from or none.
  std::string source;
  bool has_horizon = false;
  bool other_light = false;
  double glance = 0;  ///< log_odds_at_a_glance, of refined examples
  Eigen::MatrixXd terms;
  Eigen::VectorXd likelihood;
};

/// What is learnt from: frames, photographs (as they are, and turned and made smaller) and `drawn` ridges in
/// haze, each as it is and in `lights` other lights. What cannot be read is left out.
struct TrainingPictures {
  std::vector<KnownFrame> frames, photographs;
  int drawn = 0, lights = 0;
};

/// Of each picture two, of regions alone: every line at a glance, and every first line of the fine search.
[[nodiscard]] std::vector<Example> first_examples(const TrainingPictures&);
inline constexpr const char* kAtAGlance = ", at a glance";  ///< of groups

/// Every refined line, the first lines being ordered by these weights of regions.
[[nodiscard]] std::vector<Example> refined_examples(const TrainingPictures&, const Evidence& region_weights);

/// To and from a table, digit for digit.
void write_examples(const std::filesystem::path&, const std::vector<Example>&);
[[nodiscard]] std::vector<Example> read_examples(const std::filesystem::path&);

}  // namespace lookdown::level
