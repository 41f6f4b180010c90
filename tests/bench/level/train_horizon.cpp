// Fits the weights by which lines are told to be horizons, and prints them as horizon_evidence.cpp holds
// them.
//
//   train_horizon [--lights N] [--drawn COUNT] [--photographs LIST [--part PART] [--root FOLDER]...
//                 [--modules FOLDER]] [--terms FILE] [--spread S] [--cost C] [FOLDER...]
//
// FOLDER as for bench_level; LIST as pictures/horizons.txt, the part "learn" unless said, packages below the
// roots and npm's below --modules. Each picture is taken as it is and in N other lights (4), photographs also
// turned and made smaller, COUNT drawn ridges in haze are added (0). --terms keeps what was seen in the
// pictures: where FILE is there already, it is read and no picture.
//
// One line of a frame is right, or none is: the probability of each is its share of the exponentials of all
// sums, with a sum of 0 for none (multinomial logistic regression; Bishop, Pattern Recognition and Machine
// Learning, 4.3.4). A known roll is taken for that of the right line with a normal error. A picture without
// a horizon counts C times (3), as a false horizon is worse than a missed one. Largest posterior, with a
// normal prior about 0 for what each weight makes of its term's spread; by Newton's method. Printed are how
// the weights in use score, how weights score on pictures of sources that they were not fitted on (five
// parts), and the weights fitted on all.
#include <fmt/format.h>

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <filesystem>
#include <iostream>
#include <map>
#include <opencv2/core.hpp>
#include <string>
#include <vector>

#include "stages/level/search/horizon_line.h"
#include "tests/bench/level/horizon_examples.h"

namespace fs = std::filesystem;
using namespace lookdown;
using namespace lookdown::level;

namespace {

constexpr int kParts = 5;
constexpr double kPrecisionOfConstant = 0.01;
constexpr double kOfOtherLight = 0.5;  ///< what a picture in other light counts: most flights are by day

struct Settings {
  int lights = 4, drawn = 0;
  double spread = 0.3;    ///< standard deviation of the prior, for terms in units of their own
  double false_cost = 3;  ///< of a picture without a horizon
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
      s.spread = std::stod(value);
    else if (word == "--cost")
      s.false_cost = std::stod(value);
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

std::vector<Example> all_examples(const Settings& s) {
  if (!s.table.empty() && fs::exists(s.table)) return read_examples(s.table);
  std::vector<Example> examples;
  const auto add = [&](std::vector<Example> more) {
    for (Example& e : more) examples.push_back(std::move(e));
  };
  for (const auto& folder : s.folders) add(examples_of(known_frames(folder), s.lights));
  if (!s.list.empty()) add(turned_examples_of(known_photographs(s.list, s.part, s.packages), s.lights));
  add(drawn_examples(s.drawn, s.lights));
  if (!s.table.empty()) write_examples(s.table, examples);
  return examples;
}

Eigen::VectorXd weights_in_use() {
  Eigen::VectorXd weights(kEvidenceTerms);
  for (int t = 0; t < kEvidenceTerms; ++t) {
    Evidence only{};
    only[static_cast<std::size_t>(t)] = 1;
    weights(t) = log_odds(only);
  }
  return weights;
}

/// Of the prior of each weight: one over the variance that makes a term's spread count `spread`.
Eigen::VectorXd prior_precision(const std::vector<Example>& examples, double spread) {
  Eigen::VectorXd sum = Eigen::VectorXd::Zero(kEvidenceTerms), squares = sum;
  double lines = 0;
  for (const Example& e : examples) {
    sum += e.terms.colwise().sum().transpose();
    squares += e.terms.colwise().squaredNorm().transpose();
    lines += static_cast<double>(e.terms.rows());
  }
  const Eigen::VectorXd mean = sum / lines;
  Eigen::VectorXd precision = (squares / lines - mean.cwiseAbs2()) / (spread * spread);
  precision(0) = kPrecisionOfConstant;
  return precision;
}

/// Shares of the lines, and of none in the last place.
Eigen::VectorXd probabilities(const Eigen::VectorXd& sums) {
  Eigen::VectorXd all(sums.size() + 1);
  all << sums, 0;
  all = (all.array() - all.maxCoeff()).exp();
  return all / all.sum();
}

/// One step of Newton's method over the examples that `used` tells; the largest change of a weight.
double improve(const std::vector<Example>& examples, const std::vector<char>& used, double false_cost,
               const Eigen::VectorXd& precision, Eigen::VectorXd& weights) {
  Eigen::VectorXd gradient = -precision.cwiseProduct(weights);
  Eigen::MatrixXd curvature = precision.asDiagonal();
  for (std::size_t i = 0; i < examples.size(); ++i) {
    const Example& e = examples[i];
    if (!used[i] || e.terms.rows() == 0) continue;
    const Eigen::VectorXd p = probabilities(e.terms * weights).head(e.terms.rows());
    Eigen::VectorXd wanted = Eigen::VectorXd::Zero(e.terms.rows());
    if (e.has_horizon) {
      wanted = p.cwiseProduct(e.likelihood);
      if (wanted.sum() < 1e-300) continue;  // the right line was not tried
      wanted /= wanted.sum();
    }
    const double cost = (e.has_horizon ? 1 : false_cost) * (e.other_light ? kOfOtherLight : 1);
    gradient += cost * (e.terms.transpose() * (wanted - p));
    const Eigen::VectorXd mean = e.terms.transpose() * p;
    curvature += cost * (e.terms.transpose() * p.asDiagonal() * e.terms - mean * mean.transpose());
  }
  const Eigen::VectorXd step = curvature.ldlt().solve(gradient);
  weights += step * std::min(1.0, 3 / step.cwiseAbs().maxCoeff());
  return step.cwiseAbs().maxCoeff();
}

Eigen::VectorXd fitted(const std::vector<Example>& examples, const std::vector<char>& used,
                       const Settings& s) {
  const Eigen::VectorXd precision = prior_precision(examples, s.spread);
  Eigen::VectorXd weights = Eigen::VectorXd::Zero(kEvidenceTerms);
  for (int step = 0; step < 200; ++step)
    if (improve(examples, used, s.false_cost, precision, weights) < 1e-8) break;
  return weights;
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
    const Eigen::VectorXd weights = fitted(examples, used, s);
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

}  // namespace

int main(int count, char** words) try {
  const Settings settings = settings_from(count, words);
  cv::setNumThreads(1);
  const std::vector<Example> examples = all_examples(settings);
  print_scores("with the weights in use", scored(examples, weights_in_use()));
  print_scores("not fitted on", cross_validated(examples, settings));
  const Eigen::VectorXd weights = fitted(examples, std::vector<char>(examples.size(), 1), settings);
  print_scores("fitted on all", scored(examples, weights));
  for (double w : weights) fmt::print("{:.4g}, ", w);
  fmt::print("\n");
  return 0;
} catch (const std::exception& e) {
  std::cerr << "train_horizon: " << e.what() << "\n";
  return 2;
}
