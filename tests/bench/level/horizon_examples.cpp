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
#include "stages/level/level.h"
#include "stages/level/search/horizon_line.h"
#include "tests/bench/level/other_light.h"
#include "tests/unit/level/hazy_ridges.h"

namespace lookdown::level {
namespace {

/// Of a line that may be the known one: turn in standard errors of what is known, distance in shares of the
/// long side.
constexpr double kRightWithin_sigmas = 5, kRightWithin = 0.02;
/// Standard error of a known place, shares of the long side: a tenth of a degree of pitch.
constexpr double kOffsetError = 0.002;
constexpr const char* kOtherLight = ", other light";  ///< of groups

Example example_of(const cv::Mat3b& bgr, const SeenFrame& seen) {
  const KnownFrame& known = seen.known;
  Example example{known.kind, known.source, known.has_horizon, false, 0, {}, {}};
  if (known.has_horizon && known.pitch_deg) example.source += "/" + known.path.filename().string();
  example.glance = coarse_horizon_log_odds(bgr, seen.camera, known.orientation);
  const auto guesses = guesses_without_glance(bgr, seen.camera, known.orientation);
  example.terms.resize(static_cast<Eigen::Index>(guesses.size()), kEvidenceTerms);
  example.likelihood.resize(example.terms.rows());
  for (std::size_t i = 0; i < guesses.size(); ++i) {
    const Eigen::Vector3d& line = guesses[i].refined.line;
    const Eigen::Vector2d shown = display_from_stored(known.orientation) * line.head<2>();
    const double roll_deg = std::atan2(shown.x(), -shown.y()) / kDegree;
    const double sigmas = std::abs(std::remainder(roll_deg - known.roll_deg, 360.0)) / known.roll_error_deg;
    const double distance = distance_from_known(known, line, 1);
    const bool near = known.has_horizon && sigmas < kRightWithin_sigmas && distance < kRightWithin;
    const double offset_sigmas = known.pitch_deg ? distance / kOffsetError : 0;
    example.likelihood(static_cast<Eigen::Index>(i)) =
        near ? std::exp(-0.5 * (sigmas * sigmas + offset_sigmas * offset_sigmas)) : 0;
    for (int t = 0; t < kEvidenceTerms; ++t)
      example.terms(static_cast<Eigen::Index>(i), t) = guesses[i].evidence[static_cast<std::size_t>(t)];
  }
  return example;
}

/// The picture as it is and in `lights` other lights.
void add_examples(const SeenFrame& seen, int lights, std::uint64_t seed, std::vector<Example>& examples) {
  cv::RNG random(seed);
  for (int k = 0; k <= lights; ++k) {
    examples.push_back(example_of(k == 0 ? seen.bgr : other_light(seen.bgr, random), seen));
    examples.back().other_light = k > 0;
    if (k > 0) examples.back().group += kOtherLight;
  }
}

/// `add(i, examples)` for each of `count` pictures, in their order.
std::vector<Example> of_each(std::size_t count,
                             const std::function<void(std::size_t, std::vector<Example>&)>& add) {
  std::vector<std::vector<Example>> of_picture(count);
  tbb::parallel_for(std::size_t(0), count, [&](std::size_t i) { add(i, of_picture[i]); });
  std::vector<Example> examples;
  for (auto& list : of_picture)
    for (Example& e : list) examples.push_back(std::move(e));
  return examples;
}

/// The line that the far ridge keeps about, its base standing 0.01 to 0.03 (tangent) over the horizon.
Eigen::Vector3d skyline_of(const Camera& camera, const Eigen::Vector3d& up) {
  const double a = up.x() / camera.fx_px, b = up.y() / camera.fy_px;
  return {a, b, up.z() - 0.02 - a * camera.cx_px - b * camera.cy_px};
}

}  // namespace

std::vector<Example> examples_of(const std::vector<KnownFrame>& known, int lights) {
  return of_each(known.size(), [&](std::size_t i, std::vector<Example>& examples) {
    if (const auto seen = seen_frame(known[i])) add_examples(*seen, lights, 1 + i, examples);
  });
}

std::vector<Example> turned_examples_of(const std::vector<KnownFrame>& known, int lights) {
  return of_each(known.size(), [&](std::size_t i, std::vector<Example>& examples) {
    const auto seen = seen_frame(known[i]);
    if (!seen) return;
    const auto views = with_turned(*seen);
    for (std::size_t k = 0; k < views.size(); ++k)
      add_examples(views[k], lights, (k == 0 ? 1 : 1001) + i, examples);
  });
}

std::vector<Example> drawn_examples(int count, int lights) {
  Camera camera = assumed_camera(960, 640);
  camera.fx_px = camera.fy_px = 700;
  return of_each(static_cast<std::size_t>(count), [&](std::size_t i, std::vector<Example>& examples) {
    std::mt19937 random(static_cast<unsigned>(7'800'000 + i));
    const auto uniform = [&](double low, double high) {
      return std::uniform_real_distribution<double>(low, high)(random);
    };
    const Attitude attitude{uniform(-35, 35) * kDegree, uniform(-14, 8) * kDegree};
    SeenFrame seen{hazy_ridges(camera, attitude, 1000 * uniform(8, 40), random()), camera, {}};
    seen.known.kind = "drawn";
    seen.known.source = fmt::format("drawn/{}", i);
    seen.known.has_horizon = true;
    seen.known.roll_deg = attitude.roll_rad / kDegree;
    seen.known.camera = camera;
    seen.known.line = skyline_of(camera, up_from_attitude(attitude, 1));
    add_examples(seen, lights, 1 + i, examples);
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
