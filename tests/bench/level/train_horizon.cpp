// Learns the weights by which lines are told to be horizons, and prints them as horizon_weights.h holds them.
//
//   train_horizon [--lights N] [--drawn COUNT] [--photographs LIST [--part PART] [--root FOLDER]...
//                 [--modules FOLDER]] [--terms FILE] [--spread S] [--cost C] [--other W] [FOLDER...]
//
// FOLDER as for bench_level; LIST as pictures/horizons.txt, the part "learn" unless said, packages below the
// roots and npm's below --modules. Each picture is taken as it is and in N other lights (2), photographs also
// turned and made smaller, COUNT drawn ridges in haze are added (0). --terms keeps what was seen in the
// pictures (FILE, and FILE.first of first lines): what is there already is read and no picture. S, C and W:
// FitSettings.
//
// First the weights of regions are learnt, of cuts at a glance and of the fine search alike; then, of the
// lines that come of first lines in their order, the weights of the decision. Nothing depends on the weights
// in use, so that the command run again with what it gave gives the same. Printed are how pictures stand at a
// glance, how the weights in use score, how weights score on pictures of sources that they were not fitted on
// (five parts), and both rows of horizon_weights.h.
#include <fmt/format.h>

#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <filesystem>
#include <functional>
#include <iostream>
#include <map>
#include <opencv2/core.hpp>
#include <string>
#include <vector>

#include "stages/level/search/horizon_line.h"
#include "stages/level/search/horizon_weights.h"
#include "tests/bench/level/horizon_examples.h"
#include "tests/bench/level/line_odds_fit.h"

namespace fs = std::filesystem;
using namespace lookdown;
using namespace lookdown::level;

namespace {

constexpr int kParts = 5;
const std::string kOfFirstLines = ".first";  ///< ending of the table of first lines

struct Settings {
  int lights = 2, drawn = 0;
  FitSettings fit;
  std::string part = "learn";
  fs::path table, list;
  bench::PackageFolders packages;
  std::vector<fs::path> folders;
};

Settings settings_from(int count, char** words) {
  Settings s;
  for (int i = 1; i < count; ++i) {
    const std::string word = words[i];
    if (!word.starts_with("--")) {
      s.folders.emplace_back(word);
      continue;
    }
    if (i + 1 == count) throw std::runtime_error(word + ": its value is missing");
    const std::string value = words[++i];
    if (word == "--lights")
      s.lights = std::stoi(value);
    else if (word == "--drawn")
      s.drawn = std::stoi(value);
    else if (word == "--spread")
      s.fit.spread = std::stod(value);
    else if (word == "--cost")
      s.fit.false_cost = std::stod(value);
    else if (word == "--other")
      s.fit.of_other_light = std::stod(value);
    else if (word == "--terms")
      s.table = value;
    else if (word == "--photographs")
      s.list = value;
    else if (word == "--part")
      s.part = value;
    else if (word == "--root")
      s.packages.roots.emplace_back(value);
    else if (word == "--modules")
      s.packages.node_modules = value;
    else
      throw std::runtime_error(word + ": not known");
  }
  return s;
}

TrainingPictures all_pictures(const Settings& s) {
  TrainingPictures pictures;
  pictures.lights = s.lights;
  pictures.drawn = s.drawn;
  for (const auto& folder : s.folders)
    for (KnownFrame& frame : known_frames(folder)) pictures.frames.push_back(std::move(frame));
  if (!s.list.empty()) pictures.photographs = known_photographs(s.list, s.part, s.packages);
  return pictures;
}

/// From the table, else from the pictures, and into the table.
std::vector<Example> kept(const fs::path& table, const std::function<std::vector<Example>()>& from_pictures) {
  if (!table.empty() && fs::exists(table)) return read_examples(table);
  std::vector<Example> examples = from_pictures();
  if (!table.empty()) write_examples(table, examples);
  return examples;
}

Evidence as_evidence(const Eigen::VectorXd& weights) {
  Evidence evidence{};
  std::copy(weights.begin(), weights.end(), evidence.begin());
  return evidence;
}

Eigen::VectorXd as_vector(const Evidence& weights) {
  return Eigen::Map<const Eigen::VectorXd>(weights.data(), kEvidenceTerms);
}

/// As they are written in horizon_weights.h: what is learnt with weights of regions must hold of these.
Evidence as_written(const Eigen::VectorXd& weights) {
  Evidence rounded{};
  for (std::size_t t = 0; t < rounded.size(); ++t)
    rounded[t] = std::stod(fmt::format("{:.4g}", weights(static_cast<Eigen::Index>(t))));
  return rounded;
}

struct Score {
  int pictures = 0, told = 0, right = 0;
};
using Scores = std::map<std::string, Score>;

/// Of a picture that the glance lets through, as level::find does.
void add_score(const Example& e, const Eigen::VectorXd& weights, Scores& scores) {
  Score& score = scores[e.group];
  ++score.pictures;
  Eigen::Index best = 0;
  if (e.glance < kLeastGlance || e.terms.rows() == 0 || (e.terms * weights).maxCoeff(&best) <= 0) return;
  ++score.told;
  score.right += e.likelihood(best) > 0 ? 1 : 0;
}

void print_scores(const std::string& what, const Scores& scores) {
  fmt::print("{}:\n", what);
  for (const auto& [group, s] : scores)
    fmt::print("{:<38} {:4} pictures, a horizon in {:4}, the right one in {:4}\n", group, s.pictures, s.told,
               s.right);
}

/// Each part of the sources scored by weights fitted on the others.
Scores cross_validated(const std::vector<Example>& examples, const Settings& s) {
  std::map<std::string, int> part_of_source;
  for (const Example& e : examples)
    part_of_source.emplace(e.source, static_cast<int>(part_of_source.size()) % kParts);
  Scores scores;
  for (int part = 0; part < kParts; ++part) {
    std::vector<char> used;
    for (const Example& e : examples) used.push_back(part_of_source.at(e.source) != part);
    const Eigen::VectorXd weights = fitted(examples, used, s.fit);
    for (std::size_t i = 0; i < examples.size(); ++i)
      if (!used[i]) add_score(examples[i], weights, scores);
  }
  return scores;
}

Scores scored(const std::vector<Example>& examples, const Eigen::VectorXd& weights) {
  Scores scores;
  for (const Example& e : examples) add_score(e, weights, scores);
  return scores;
}

/// Largest sums at a glance of pictures with and without a horizon, as they are.
struct Glances {
  std::vector<double> with, without;  ///< ascending
};

Glances glances_of(const std::vector<Example>& examples, const Eigen::VectorXd& weights) {
  Glances glances;
  for (const Example& e : examples)
    if (!e.other_light && e.group.ends_with(kAtAGlance) && e.terms.rows() > 0)
      (e.has_horizon ? glances.with : glances.without).push_back((e.terms * weights).maxCoeff());
  std::sort(glances.with.begin(), glances.with.end());
  std::sort(glances.without.begin(), glances.without.end());
  return glances;
}

double share_below(const std::vector<double>& ascending, double value) {
  const auto below = std::lower_bound(ascending.begin(), ascending.end(), value) - ascending.begin();
  return static_cast<double>(below) / std::max<double>(1, static_cast<double>(ascending.size()));
}

/// Where the share of horizons that lie below is that of other pictures that lie above.
double even(const Glances& glances) {
  for (double value : glances.with)
    if (share_below(glances.with, value) >= 1 - share_below(glances.without, value)) return value;
  return 0;
}

/// Of regions, with a constant that makes log-odds at a glance even at 0.
Evidence region_weights(const std::vector<Example>& firsts, const Settings& s) {
  Eigen::VectorXd weights = fitted(firsts, std::vector<char>(firsts.size(), 1), s.fit);
  Glances glances = glances_of(firsts, weights);
  weights(0) -= even(glances);
  glances = glances_of(firsts, weights);
  fmt::print("at a glance, as they are: {} with a horizon, {} without\n", glances.with.size(),
             glances.without.size());
  for (double value = -6; value <= 2; value += 1)
    fmt::print("log-odds {:4.1f}: {:.4f} of those with below, {:.4f} of those without above\n", value,
               share_below(glances.with, value), 1 - share_below(glances.without, value));
  return as_written(weights);
}

/// Of pictures without a horizon, as they are, that the glance lets through: what a quarter's likeliest lines
/// lie above (kLeastLogOdds of far_shore.cpp).
double upper_quarter_without(const std::vector<Example>& examples, const Eigen::VectorXd& weights) {
  std::vector<double> sums;
  for (const Example& e : examples)
    if (!e.has_horizon && !e.other_light && e.glance >= kLeastGlance && e.terms.rows() > 0)
      sums.push_back((e.terms * weights).maxCoeff());
  std::sort(sums.begin(), sums.end());
  return sums.empty() ? 0 : sums[sums.size() * 3 / 4];
}

void print_weights(const std::string& name, const Evidence& weights) {
  fmt::print("inline constexpr Evidence {}{{", name);
  for (std::size_t t = 0; t < weights.size(); ++t) fmt::print("{}{:.4g}", t > 0 ? ", " : "", weights[t]);
  fmt::print("}};\n");
}

}  // namespace

int main(int count, char** words) try {
  const Settings settings = settings_from(count, words);
  cv::setNumThreads(1);
  const TrainingPictures pictures = all_pictures(settings);
  const fs::path first_table =
      settings.table.empty() ? fs::path() : fs::path(settings.table.string() + kOfFirstLines);
  const Evidence regions =
      region_weights(kept(first_table, [&] { return first_examples(pictures); }), settings);
  const std::vector<Example> examples =
      kept(settings.table, [&] { return refined_examples(pictures, regions); });
  print_scores("with the weights in use", scored(examples, as_vector(kWeights)));
  print_scores("not fitted on", cross_validated(examples, settings));
  const Eigen::VectorXd weights = fitted(examples, std::vector<char>(examples.size(), 1), settings.fit);
  print_scores("fitted on all", scored(examples, weights));
  fmt::print("a quarter of those without that the glance lets through lie above {:.1f}\n",
             upper_quarter_without(examples, weights));
  print_weights("kWeights", as_evidence(weights));
  print_weights("kRegionWeights", regions);
  return 0;
} catch (const std::exception& e) {
  std::cerr << "train_horizon: " << e.what() << "\n";
  return 2;
}
