// Fits the weights by which lines are told to be horizons, and prints them as horizon_evidence.cpp holds
// them.
//
//   train_horizon [--lights N] [--drawn COUNT] [--every N --from K] FOLDER...
//
// FOLDER as for bench_level; of those with labels.csv only every N-th frame from the K-th. Each frame is
// taken as it is and in N other lights (2), COUNT drawn ridges in haze are added (0). One line of a frame is
// right, or none is: the probability of each is its share of the exponentials of all sums, with a sum of 0
// for none (multinomial logistic regression; Bishop, Pattern Recognition and Machine Learning, 4.3.4).
// A known roll is taken for that of the right line with a normal error. Largest posterior, with a normal
// prior about the weights in use, so that what is not in these frames stays as it was; by Newton's method.
#include <fmt/format.h>
#include <tbb/parallel_for.h>

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <filesystem>
#include <iostream>
#include <map>
#include <opencv2/core.hpp>
#include <opencv2/imgcodecs.hpp>
#include <random>
#include <string>
#include <vector>

#include "pipeline/base/angles.h"
#include "stages/level/copies/display_turn.h"
#include "stages/level/level.h"
#include "stages/level/search/horizon_line.h"
#include "tests/bench/level/known_frames.h"
#include "tests/bench/level/other_light.h"
#include "tests/unit/level/hazy_ridges.h"

namespace fs = std::filesystem;
using namespace lookdown;
using namespace lookdown::level;

namespace {

constexpr double kPriorPrecision = 1;
/// Of a line that may be the known one: turn in degrees, distance in shares of the long side; standard error
/// of labels.
constexpr double kRightWithin_deg = 1.5, kRightWithin = 0.02, kLabelError_deg = 0.3;

/// One picture: a row of terms for every line tried, and how likely what is known would be if that line were
/// the right one, of at most 1.
struct Example {
  std::string group;
  bool has_horizon = false;
  Eigen::MatrixXd terms;
  Eigen::VectorXd likelihood;
};

Example example_of(const cv::Mat3b& bgr, const Camera& camera, const KnownFrame& known, int reduction) {
  Example example{"", known.has_horizon, {}, {}};
  const auto guesses = guesses_without_glance(bgr, camera, known.orientation);
  example.terms.resize(static_cast<Eigen::Index>(guesses.size()), kEvidenceTerms);
  example.likelihood.resize(example.terms.rows());
  for (std::size_t i = 0; i < guesses.size(); ++i) {
    const Eigen::Vector3d& line = guesses[i].refined.line;
    const Eigen::Vector2d shown = display_from_stored(known.orientation) * line.head<2>();
    const double roll_deg = std::atan2(shown.x(), -shown.y()) / kDegree;
    const double off_deg = std::abs(std::remainder(roll_deg - known.roll_deg, 360.0));
    const bool near = known.has_horizon && off_deg < kRightWithin_deg &&
                      distance_from_known(known, line, reduction) < kRightWithin;
    example.likelihood(static_cast<Eigen::Index>(i)) =
        near ? std::exp(-0.5 * std::pow(off_deg / kLabelError_deg, 2)) : 0;
    for (int t = 0; t < kEvidenceTerms; ++t)
      example.terms(static_cast<Eigen::Index>(i), t) = guesses[i].evidence[static_cast<std::size_t>(t)];
  }
  return example;
}

/// The picture as it is and in `lights` other lights.
void add_examples(const cv::Mat3b& bgr, const Camera& camera, const KnownFrame& known, int reduction,
                  int lights, std::uint64_t seed, std::vector<Example>& examples) {
  cv::RNG random(seed);
  for (int k = 0; k <= lights; ++k) {
    const cv::Mat3b seen = k == 0 ? bgr : other_light(bgr, random);
    examples.push_back(example_of(seen, camera, known, reduction));
    examples.back().group = known.kind + (k == 0 ? "" : ", other light");
  }
}

void add_folder(const fs::path& folder, int lights, int every, int from, std::vector<Example>& examples) {
  auto known = known_frames(folder);
  if (fs::exists(folder / "labels.csv")) {
    std::vector<KnownFrame> chosen;
    for (auto i = static_cast<std::size_t>(from); i < known.size(); i += static_cast<std::size_t>(every))
      chosen.push_back(known[i]);
    known = chosen;
  }
  std::vector<std::vector<Example>> of_frame(known.size());
  tbb::parallel_for(std::size_t(0), known.size(), [&](std::size_t i) {
    const FrameReader reader;
    FrameSource source;
    source.path = known[i].path;
    source.orientation = known[i].orientation;
    const auto header = reader.header(source.path);
    if (!header) return;
    source.width_px = header->width_px;
    source.height_px = header->height_px;
    FramePixels pixels(reader, source);
    const int reduction = pixels.reduction_for(1700);
    const Camera camera = known[i].camera.value_or(assumed_camera(source.width_px, source.height_px));
    add_examples(pixels.bgr(reduction), camera.scaled(1.0 / reduction), known[i], reduction, lights, 1 + i,
                 of_frame[i]);
  });
  for (auto& list : of_frame)
    for (Example& e : list) examples.push_back(std::move(e));
}

/// The line that the far ridge keeps about, its base standing 0.01 to 0.03 (tangent) over the horizon.
Eigen::Vector3d skyline_of(const Camera& camera, const Eigen::Vector3d& up) {
  const double a = up.x() / camera.fx_px, b = up.y() / camera.fy_px;
  return {a, b, up.z() - 0.02 - a * camera.cx_px - b * camera.cy_px};
}

void add_drawn(int count, int lights, std::vector<Example>& examples) {
  Camera camera = assumed_camera(960, 640);
  camera.fx_px = camera.fy_px = 700;
  std::vector<std::vector<Example>> of_frame(static_cast<std::size_t>(count));
  tbb::parallel_for(std::size_t(0), of_frame.size(), [&](std::size_t i) {
    std::mt19937 random(static_cast<unsigned>(7'800'000 + i));
    const auto uniform = [&](double low, double high) {
      return std::uniform_real_distribution<double>(low, high)(random);
    };
    const Attitude attitude{uniform(-35, 35) * kDegree, uniform(-14, 8) * kDegree};
    const cv::Mat3b bgr = hazy_ridges(camera, attitude, 1000 * uniform(8, 40), random());
    KnownFrame known;
    known.kind = "drawn";
    known.has_horizon = true;
    known.roll_deg = attitude.roll_rad / kDegree;
    known.camera = camera;
    known.line = skyline_of(camera, up_from_attitude(attitude, 1));
    add_examples(bgr, camera, known, 1, lights, 1 + i, of_frame[i]);
  });
  for (auto& list : of_frame)
    for (Example& e : list) examples.push_back(std::move(e));
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

/// Shares of the lines, and of none in the last place.
Eigen::VectorXd probabilities(const Eigen::VectorXd& sums) {
  Eigen::VectorXd all(sums.size() + 1);
  all << sums, 0;
  all = (all.array() - all.maxCoeff()).exp();
  return all / all.sum();
}

/// One step of Newton's method; the largest change of a weight.
double improve(const std::vector<Example>& examples, const Eigen::VectorXd& prior, Eigen::VectorXd& weights) {
  Eigen::VectorXd gradient = kPriorPrecision * (prior - weights);
  Eigen::MatrixXd curvature = kPriorPrecision * Eigen::MatrixXd::Identity(weights.size(), weights.size());
  for (const Example& e : examples) {
    const Eigen::VectorXd p = probabilities(e.terms * weights).head(e.terms.rows());
    Eigen::VectorXd wanted = Eigen::VectorXd::Zero(e.terms.rows());
    if (e.has_horizon) {
      wanted = p.cwiseProduct(e.likelihood);
      if (wanted.sum() < 1e-300) continue;  // the right line was not tried
      wanted /= wanted.sum();
    }
    gradient += e.terms.transpose() * (wanted - p);
    const Eigen::VectorXd mean = e.terms.transpose() * p;
    curvature += e.terms.transpose() * p.asDiagonal() * e.terms - mean * mean.transpose();
  }
  const Eigen::VectorXd step = curvature.ldlt().solve(gradient);
  weights += step * std::min(1.0, 3 / step.cwiseAbs().maxCoeff());
  return step.cwiseAbs().maxCoeff();
}

void print_scores(const std::vector<Example>& examples, const Eigen::VectorXd& weights) {
  struct Score {
    int pictures = 0, told = 0, right = 0;
  };
  std::map<std::string, Score> scores;
  for (const Example& e : examples) {
    Score& score = scores[e.group];
    ++score.pictures;
    Eigen::Index best = 0;
    if (e.terms.rows() == 0 || (e.terms * weights).maxCoeff(&best) <= 0) continue;
    ++score.told;
    score.right += e.likelihood(best) > 0 ? 1 : 0;
  }
  for (const auto& [group, s] : scores)
    fmt::print("{:<32} {:4} pictures, a horizon in {:4}, the right one in {:4}\n", group, s.pictures, s.told,
               s.right);
}

}  // namespace

int main(int count, char** words) {
  int lights = 2, drawn = 0, every = 1, from = 0;
  std::vector<fs::path> folders;
  for (int i = 1; i < count; ++i) {
    const std::string word = words[i];
    const bool has_value = i + 1 < count;
    if (word == "--lights" && has_value)
      lights = std::stoi(words[++i]);
    else if (word == "--drawn" && has_value)
      drawn = std::stoi(words[++i]);
    else if (word == "--every" && has_value)
      every = std::stoi(words[++i]);
    else if (word == "--from" && has_value)
      from = std::stoi(words[++i]);
    else
      folders.emplace_back(word);
  }
  cv::setNumThreads(1);
  std::vector<Example> examples;
  for (const auto& folder : folders) add_folder(folder, lights, every, from, examples);
  add_drawn(drawn, lights, examples);
  const Eigen::VectorXd prior = weights_in_use();
  Eigen::VectorXd weights = prior;
  for (int step = 0; step < 100 && improve(examples, prior, weights) > 1e-6; ++step) {
  }
  fmt::print("with the weights in use:\n");
  print_scores(examples, prior);
  fmt::print("with the new ones:\n");
  print_scores(examples, weights);
  for (double w : weights) fmt::print("{:.4g}, ", w);
  fmt::print("\n");
  return 0;
}
