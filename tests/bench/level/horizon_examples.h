// What the weights of the horizon's evidence are learnt from: the terms of every line tried in a picture.
#pragma once

#include <Eigen/Core>
#include <filesystem>
#include <string>
#include <vector>

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
  double glance = 0;  ///< coarse_horizon_log_odds
  Eigen::MatrixXd terms;
  Eigen::VectorXd likelihood;
};

/// Of each frame, and in `lights` other lights. Frames that cannot be read are left out.
[[nodiscard]] std::vector<Example> examples_of(const std::vector<KnownFrame>&, int lights);

/// Of photographs as they are, and turned and made smaller.
[[nodiscard]] std::vector<Example> turned_examples_of(const std::vector<KnownFrame>&, int lights);

/// Of drawn ridges in haze.
[[nodiscard]] std::vector<Example> drawn_examples(int count, int lights);

/// To and from a table, digit for digit.
void write_examples(const std::filesystem::path&, const std::vector<Example>&);
[[nodiscard]] std::vector<Example> read_examples(const std::filesystem::path&);

}  // namespace lookdown::level
