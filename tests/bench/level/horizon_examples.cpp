#include "tests/bench/level/horizon_examples.h"

#include <fmt/format.h>
#include <tbb/parallel_for.h>

#include <cmath>
#include <fstream>
#include <functional>
#include <opencv2/core.hpp>
#include <random>
#include <stdexcept>

#include "pipeline/base/angles.h"
#include "stages/level/copies/display_turn.h"
#include "stages/level/search/first_lines.h"
#include "stages/level/search/horizon_line.h"
#include "tests/bench/level/other_light.h"
#include "tests/unit/level/hazy_ridges.h"

namespace lookdown::level {
namespace {

/// How near to what is known a line may be the known one: standard errors beyond those of what is known, of
/// the turn in degrees and of the place in shares of the long side, and the largest distance.
struct Nearness {
  double turn_error_deg, offset_error, within;
};
constexpr double kRightWithin_sigmas = 5;
/// Of the place of a refined line a tenth of a degree of pitch is the standard error. First lines stand 2
/// degrees and a small pixel apart.
constexpr Nearness kRefined{0, 0.002, 0.02}, kFirst{1, 0.005, 0.02}, kGlanced{1, 0.015, 0.04};
constexpr const char* kOtherLight = ", other light";  ///< of groups

double likelihood_of(const KnownFrame& known, const Eigen::Vector3d& line, const Nearness& near) {
  if (!known.has_horizon) return 0;
  const Eigen::Vector2d shown = display_from_stored(known.orientation) * line.head<2>();
  const double roll_deg = std::atan2(shown.x(), -shown.y()) / kDegree;
  const double sigmas = std::abs(std::remainder(roll_deg - known.roll_deg, 360.0)) /
                        std::hypot(known.roll_error_deg, near.turn_error_deg);
  const double distance = distance_from_known(known, line, 1);
  if (sigmas >= kRightWithin_sigmas || distance >= near.within) return 0;
  const double offset_sigmas = known.pitch_deg ? distance / near.offset_error : 0;
  return std::exp(-0.5 * (sigmas * sigmas + offset_sigmas * offset_sigmas));
}

Example without_lines(const KnownFrame& known, std::size_t lines) {
  Example example{known.kind, known.source, known.has_horizon, false, 0, {}, {}};
  if (known.has_horizon && known.pitch_deg) example.source += "/" + known.path.filename().string();
  example.terms.resize(static_cast<Eigen::Index>(lines), kEvidenceTerms);
  example.likelihood.resize(example.terms.rows());
  return example;
}

void set_line(Example& example, std::size_t i, const Evidence& terms, double likelihood) {
  const auto row = static_cast<Eigen::Index>(i);
  example.likelihood(row) = likelihood;
  for (int t = 0; t < kEvidenceTerms; ++t) example.terms(row, t) = terms[static_cast<std::size_t>(t)];
}

Example example_of(const KnownFrame& known, const std::vector<FirstLine>& lines, const Nearness& near) {
  Example example = without_lines(known, lines.size());
  for (std::size_t i = 0; i < lines.size(); ++i)
    set_line(example, i, lines[i].evidence, likelihood_of(known, lines[i].line, near));
  return example;
}

using ExamplesOf = std::function<std::vector<Example>(const cv::Mat3b&, const SeenFrame&)>;

/// Of the picture as it is and in `lights` other lights.
void add_examples(const SeenFrame& seen, int lights, std::uint64_t seed, const ExamplesOf& examples_of,
                  std::vector<Example>& examples) {
  cv::RNG random(seed);
  for (int k = 0; k <= lights; ++k)
    for (Example& e : examples_of(k == 0 ? seen.bgr : other_light(seen.bgr, random), seen)) {
      e.other_light = k > 0;
      if (k > 0) e.group += kOtherLight;
      examples.push_back(std::move(e));
    }
}

/// The line that the far ridge keeps about, its base standing 0.01 to 0.03 (tangent) over the horizon.
Eigen::Vector3d skyline_of(const Camera& camera, const Eigen::Vector3d& up) {
  const double a = up.x() / camera.fx_px, b = up.y() / camera.fy_px;
  return {a, b, up.z() - 0.02 - a * camera.cx_px - b * camera.cy_px};
}

SeenFrame drawn_ridges(std::size_t number) {
  Camera camera = assumed_camera(960, 640);
  camera.fx_px = camera.fy_px = 700;
  std::mt19937 random(static_cast<unsigned>(7'800'000 + number));
  const auto uniform = [&](double low, double high) {
    return std::uniform_real_distribution<double>(low, high)(random);
  };
  const Attitude attitude{uniform(-35, 35) * kDegree, uniform(-14, 8) * kDegree};
  SeenFrame seen{hazy_ridges(camera, attitude, 1000 * uniform(8, 40), random()), camera, {}};
  seen.known.kind = "drawn";
  seen.known.source = fmt::format("drawn/{}", number);
  seen.known.has_horizon = true;
  seen.known.roll_deg = attitude.roll_rad / kDegree;
  seen.known.camera = camera;
  seen.known.line = skyline_of(camera, up_from_attitude(attitude, 1));
  return seen;
}

/// Of each of all pictures, in their order.
std::vector<Example> of_each(const TrainingPictures& pictures, const ExamplesOf& examples_of) {
  const std::size_t frames = pictures.frames.size(), read = frames + pictures.photographs.size();
  std::vector<std::vector<Example>> of_picture(read + static_cast<std::size_t>(pictures.drawn));
  tbb::parallel_for(std::size_t(0), of_picture.size(), [&](std::size_t i) {
    const auto add = [&](const SeenFrame& seen, std::uint64_t seed) {
      add_examples(seen, pictures.lights, seed, examples_of, of_picture[i]);
    };
    if (i >= read) return add(drawn_ridges(i - read), 1 + i - read);
    const auto seen = seen_frame(i < frames ? pictures.frames[i] : pictures.photographs[i - frames]);
    if (!seen) return;
    if (i < frames) return add(*seen, 1 + i);
    const auto views = with_turned(*seen);
    for (std::size_t k = 0; k < views.size(); ++k) add(views[k], (k == 0 ? 1 : 1001) + i - frames);
  });
  std::vector<Example> examples;
  for (auto& list : of_picture)
    for (Example& e : list) examples.push_back(std::move(e));
  return examples;
}

}  // namespace

std::vector<Example> first_examples(const TrainingPictures& pictures) {
  return of_each(pictures, [](const cv::Mat3b& bgr, const SeenFrame& seen) {
    const int orientation = seen.known.orientation;
    std::vector<Example> both{
        example_of(seen.known, lines_at_a_glance(bgr, seen.camera, orientation), kGlanced),
        example_of(seen.known, first_lines(search_picture(bgr, seen.camera), orientation), kFirst)};
    both.front().group += kAtAGlance;
    return both;
  });
}

std::vector<Example> refined_examples(const TrainingPictures& pictures, const Evidence& region_weights) {
  return of_each(pictures, [&](const cv::Mat3b& bgr, const SeenFrame& seen) {
    const int orientation = seen.known.orientation;
    const auto guesses = guesses_without_glance(bgr, seen.camera, orientation, region_weights);
    Example example = without_lines(seen.known, guesses.size());
    example.glance = log_odds_at_a_glance(bgr, seen.camera, orientation, region_weights);
    for (std::size_t i = 0; i < guesses.size(); ++i)
      set_line(example, i, guesses[i].evidence, likelihood_of(seen.known, guesses[i].refined.line, kRefined));
    return std::vector<Example>{example};
  });
}

void write_examples(const std::filesystem::path& path, const std::vector<Example>& examples) {
  std::ofstream file(path);
  for (const Example& e : examples) {
    file << fmt::format("{}\n{}\n{:d} {:.17g} {}\n", e.group, e.source, e.has_horizon, e.glance,
                        e.terms.rows());
    for (Eigen::Index i = 0; i < e.terms.rows(); ++i) {
      file << fmt::format("{:.17g}", e.likelihood(i));
      for (int t = 0; t < kEvidenceTerms; ++t) file << fmt::format(" {:.17g}", e.terms(i, t));
      file << '\n';
    }
  }
  if (!file) throw std::runtime_error(path.string() + ": cannot be written");
}

std::vector<Example> read_examples(const std::filesystem::path& path) {
  std::ifstream file(path);
  if (!file) throw std::runtime_error(path.string() + ": cannot be read");
  std::vector<Example> examples;
  for (Example e; std::getline(file, e.group) && std::getline(file, e.source);) {
    Eigen::Index lines = 0;
    file >> e.has_horizon >> e.glance >> lines;
    e.terms.resize(lines, kEvidenceTerms);
    e.likelihood.resize(lines);
    for (Eigen::Index i = 0; i < lines; ++i) {
      file >> e.likelihood(i);
      for (int t = 0; t < kEvidenceTerms; ++t) file >> e.terms(i, t);
    }
    std::string rest;
    std::getline(file, rest);
    e.other_light = e.group.ends_with(kOtherLight);
    if (!file) throw std::runtime_error(path.string() + ": ends too early");
    examples.push_back(e);
  }
  return examples;
}

}  // namespace lookdown::level
