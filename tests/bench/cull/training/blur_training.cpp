#include "training/blur_training.h"

#include <fmt/format.h>
#include <oneapi/tbb/parallel_for.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <fstream>
#include <numbers>
#include <optional>
#include <ostream>
#include <random>

#include "pipeline/base/angles.h"
#include "separation.h"
#include "stages/cull/blur/blur_estimate.h"
#include "training/network_training.h"

namespace lookdown::bench {
namespace {

using Matrix = Eigen::MatrixXf;
using Samples = std::vector<const LabelledSpectrum*>;

constexpr double kPi = std::numbers::pi;
constexpr int kFolds = 2;

double width_along(const BlurRecipe& r, double angle_rad) {
  const double along = r.smear_px * std::cos(angle_rad - r.smear_deg * kDegree);
  return std::sqrt(std::pow(r.sigma_across_px(), 2) + along * along / 12);
}

cull::BlurNetwork fit_directional(const Samples& samples) {
  const auto count = static_cast<Eigen::Index>(samples.size()) * cull::kAxes;
  Matrix inputs(cull::kDirectionalFeatures, count);
  Eigen::RowVectorXf wanted(count);
  Eigen::Index at = 0;
  for (const LabelledSpectrum* s : samples)
    for (int k = 0; k < cull::kAxes; ++k, ++at) {
      inputs.col(at) = cull::directional_features(s->bands, k);
      wanted[at] = static_cast<float>(std::log(width_along(s->recipe, k * kPi / cull::kAxes)));
    }
  TrainingOptions options;
  options.rounds = 16;
  options.batch = 512;
  options.first_rate = 3e-3;
  const auto gradient = [&](const Matrix& outputs, const std::vector<int>& members) {
    Matrix g(1, outputs.cols());
    for (Eigen::Index i = 0; i < outputs.cols(); ++i)
      g(0, i) = std::clamp(outputs(0, i) - wanted[members[i]], -0.3F, 0.3F);
    return g;
  };
  return fit_network(inputs, gradient, options);
}

cull::DirectedWidth coarse(const cull::BlurNetwork& network, const cull::DirectionBands& bands) {
  std::array<double, cull::kAxes> widths{};
  for (int k = 0; k < cull::kAxes; ++k)
    widths[k] = std::exp(network.evaluate(cull::directional_features(bands, k))[0]);
  return cull::directed_width(widths);
}

float logistic(float x) {
  return 1 / (1 + std::exp(-x));
}

/// Sum of: cross entropy for the two odds, Huber for the logarithms of the lengths, Laplace likelihood for
/// the spread.
Matrix gradient_of(const Matrix& out, const Samples& samples, const std::vector<int>& members) {
  Matrix g = Matrix::Zero(out.rows(), out.cols());
  for (Eigen::Index i = 0; i < out.cols(); ++i) {
    const BlurRecipe& r = samples[members[i]]->recipe;
    const auto error = [&](int row, double wanted) { return out(row, i) - static_cast<float>(wanted); };
    const auto huber = [](float e) { return 2 * std::clamp(e, -0.5F, 0.5F); };
    if (r.sharp() || r.blurred())
      g(cull::kLogOddsBlurred, i) = logistic(out(cull::kLogOddsBlurred, i)) - (r.blurred() ? 1.0F : 0.0F);
    g(cull::kLogNarrowest, i) = huber(error(cull::kLogNarrowest, std::log(r.sigma_across_px())));
    const float widest = error(cull::kLogWidest, std::log(r.sigma_along_px()));
    const float spread = std::exp(std::clamp(out(cull::kLogWidestSpread, i), -4.0F, 2.0F));
    g(cull::kLogWidest, i) = huber(widest) + 0.3F * (widest > 0 ? 1.0F : -1.0F) / (spread + 0.1F);
    g(cull::kLogWidestSpread, i) = std::clamp(0.3F * (1 - std::abs(widest) / spread), -1.0F, 1.0F);
    if (r.smeared()) g(cull::kLogSmear, i) = huber(error(cull::kLogSmear, std::log(r.smear_px)));
    if (!r.smeared() || r.smear_px >= 3)
      g(cull::kLogOddsSmeared, i) = logistic(out(cull::kLogOddsSmeared, i)) - (r.smeared() ? 1.0F : 0.0F);
  }
  return g;
}

cull::BlurNetwork fit_outputs(const Samples& samples, const Matrix& inputs, TrainingOptions options) {
  options.outputs = cull::kBlurOutputs;
  const auto gradient = [&](const Matrix& out, const std::vector<int>& members) {
    return gradient_of(out, samples, members);
  };
  return fit_network(inputs, gradient, options);
}

/// The first two networks and what they see.
struct First {
  cull::BlurNetwork directional, whole;

  [[nodiscard]] cull::EvidenceFeatures evidence_of(const LabelledSpectrum& s) const {
    const cull::DirectedWidth start = coarse(directional, s.bands);
    std::vector<cull::DirectedWidth> regions;
    for (const cull::DirectionBands& bands : s.regions) regions.push_back(coarse(directional, bands));
    return cull::evidence_features(whole.evaluate(cull::whole_features(s.bands, s.context, start)), s.context,
                                   start, s.fits, s.edges, regions);
  }
};

First fit_first(const Samples& samples) {
  First out;
  out.directional = fit_directional(samples);
  Matrix inputs(cull::kWholeFeatures, static_cast<Eigen::Index>(samples.size()));
  for (std::size_t i = 0; i < samples.size(); ++i)
    inputs.col(static_cast<Eigen::Index>(i)) = cull::whole_features(
        samples[i]->bands, samples[i]->context, coarse(out.directional, samples[i]->bands));
  TrainingOptions options;
  options.rounds = 40;
  out.whole = fit_outputs(samples, inputs, options);
  return out;
}

/// Every second sample comes again with the first answer of another one: on strange ground that answer can be
/// far off, and the fits and the edges must be able to outvote it.
cull::BlurNetwork fit_evidence(Samples samples, std::vector<cull::EvidenceFeatures> evidence) {
  const std::size_t all = samples.size();
  std::mt19937 random(7);
  for (std::size_t i = 0; i < all; i += 2) {
    samples.push_back(samples[i]);
    evidence.push_back(evidence[i]);
    evidence.back().head<cull::kBlurOutputs>() = evidence[random() % all].head<cull::kBlurOutputs>();
  }
  Matrix inputs(cull::kEvidenceFeatures, static_cast<Eigen::Index>(samples.size()));
  for (std::size_t i = 0; i < samples.size(); ++i) inputs.col(static_cast<Eigen::Index>(i)) = evidence[i];
  TrainingOptions options;
  options.hidden = {16};
  options.rounds = 80;
  options.input_noise = 0.3;
  options.weight_decay = 1e-3;
  return fit_outputs(samples, inputs, options);
}

/// One picture of known blur, and nothing when it holds no detail.
std::optional<LabelledSpectrum> blurred_sample(const std::vector<Photograph>& photographs, int index,
                                               unsigned seed) {
  constexpr int kMadeEvery = 4;
  std::seed_seq seeds{seed, static_cast<unsigned>(index)};
  std::mt19937 random(seeds);
  // A third is sharp, and each way of blurring has as many as the next.
  const unsigned turn = random() % 9;
  const auto kind = turn < 3 ? BlurKind::none : static_cast<BlurKind>(turn - 2);
  const bool made = index % kMadeEvery == 0 || photographs.empty();
  const int source = made ? index / kMadeEvery % kFolds : static_cast<int>(random() % photographs.size());
  const cv::Mat sharp = made ? made_texture({640, 427}, random)
                             : random_part(photographs[static_cast<std::size_t>(source)], random);
  if (sharp.empty()) return std::nullopt;
  const BlurRecipe recipe = random_blur(kind, random_camera(random), random);
  return labelled_spectrum(take_picture(sharp, recipe, random), source, recipe);
}

double turn_between(double a_deg, double b_deg) {
  return std::abs(std::fmod(a_deg - b_deg + 90 + 3600, 180) - 90);
}

}  // namespace

std::vector<LabelledSpectrum> blurred_samples(const std::vector<Photograph>& photographs, int count,
                                              unsigned seed) {
  std::vector<std::optional<LabelledSpectrum>> made(static_cast<std::size_t>(count));
  oneapi::tbb::parallel_for(0, count, [&](int i) { made[i] = blurred_sample(photographs, i, seed); });
  std::vector<LabelledSpectrum> out;
  for (auto& one : made)
    if (one) out.push_back(std::move(*one));
  return out;
}

BlurNetworks fit_blur_networks(const std::vector<LabelledSpectrum>& spectra) {
  Samples all;
  std::array<Samples, kFolds> folds;
  for (const LabelledSpectrum& s : spectra) {
    all.push_back(&s);
    folds[static_cast<std::size_t>(s.source % kFolds)].push_back(&s);
  }
  std::array<First, kFolds + 1> first;  // of either half, then of all
  oneapi::tbb::parallel_for(0, kFolds + 1, [&](int k) { first[k] = fit_first(k < kFolds ? folds[k] : all); });
  std::vector<cull::EvidenceFeatures> evidence;
  for (const LabelledSpectrum* s : all)
    evidence.push_back(first[static_cast<std::size_t>((s->source + 1) % kFolds)].evidence_of(*s));
  BlurNetworks out{first[kFolds].directional, first[kFolds].whole, {}};
  out.evidence = fit_evidence(all, evidence);
  return out;
}

void print_scores(std::ostream& out, const char* name, const BlurNetworks& networks,
                  const std::vector<LabelledSpectrum>& samples) {
  std::vector<double> sharp, blurred, length_error, turn_error, sigma_error, still, moved;
  const First first{networks.directional, networks.whole};
  for (const LabelledSpectrum& s : samples) {
    const BlurRecipe& r = s.recipe;
    const Eigen::VectorXf answer = networks.evidence.evaluate(first.evidence_of(s));
    if (r.sharp()) sharp.push_back(answer[cull::kLogOddsBlurred]);
    if (r.blurred()) blurred.push_back(answer[cull::kLogOddsBlurred]);
    (r.smear_px >= 3 ? moved : still).push_back(answer[cull::kLogOddsSmeared]);
    if (r.smear_px >= 4 && r.smear_px <= 25) {
      length_error.push_back(std::abs(std::exp(answer[cull::kLogSmear]) / r.smear_px - 1));
      turn_error.push_back(turn_between(s.fits.smear.direction_rad / kDegree, r.smear_deg));
    }
    if (!r.smeared() && r.sigma_px >= 1.3)
      sigma_error.push_back(std::abs(std::exp(answer[cull::kLogNarrowest]) / r.sigma_across_px() - 1));
  }
  const BalancedLimit best = best_balanced(blurred, sharp);
  out << fmt::format(
      "{:<16} {:5} pictures | sharp or blurred: area {:.4f}, balanced accuracy {:.4f} at log odds {:.2f} | "
      "smeared or "
      "not: area {:.4f} | length {:.3f}, direction {:.2f} deg | sigma {:.3f}\n",
      name, samples.size(), area_under_curve(blurred, sharp), best.accuracy, best.limit,
      area_under_curve(moved, still), median(length_error), median(turn_error), median(sigma_error));
}

void write_networks(const std::filesystem::path& folder, const BlurNetworks& networks) {
  const auto write = [&](const char* file, const char* name, const cull::BlurNetwork& network) {
    std::ofstream out(folder / file);
    write_network(out, name, network);
  };
  write("directional_width_network.inc", "kDirectionalWidthNetwork", networks.directional);
  write("whole_network.inc", "kWholeNetwork", networks.whole);
  write("evidence_network.inc", "kEvidenceNetwork", networks.evidence);
}

}  // namespace lookdown::bench
