// Fits the networks of stages/cull to spectra made by make_blur_spectra, scores them on photographs that the
// fit has not seen, and writes them. The first two learn from three quarters of the photographs and the made
// textures, the last, which weighs their answer, from the other quarter.
//   fit_blur_networks score SPECTRA...            keeps a third of that quarter for the scores that it prints
//   fit_blur_networks write FOLDER SPECTRA...     fits on everything and writes
//   FOLDER/{axis_width,whole,evidence}_network.inc
#include <algorithm>
#include <cmath>
#include <cstdio>
#include <fstream>
#include <iostream>
#include <numbers>
#include <random>
#include <string>

#include "labelled_spectrum.h"
#include "network_training.h"
#include "separation.h"
#include "stages/cull/blur/blur_estimate.h"

namespace {

using namespace lookdown;
using bench::LabelledSpectrum;
using Matrix = Eigen::MatrixXf;

constexpr double kPi = std::numbers::pi;

bool kept_from_first(const LabelledSpectrum& s) {
  return s.source >= 0 && s.source % 4 == 3;
}

bool kept_from_all(const LabelledSpectrum& s) {
  return s.source / 4 % 3 == 2;
}

double width_along(const LabelledSpectrum& s, double angle_rad) {
  const double along = s.recipe.smear_px * std::cos(angle_rad - s.recipe.smear_deg * kPi / 180);
  return std::sqrt(s.sigma_px() * s.sigma_px() + along * along / 12);
}

cull::BlurNetwork fit_axis_network(const std::vector<const LabelledSpectrum*>& spectra, int rounds) {
  const auto count = static_cast<Eigen::Index>(spectra.size()) * cull::kAxes;
  Matrix inputs(cull::kAxisFeatures, count);
  Eigen::RowVectorXf wanted(count);
  Eigen::Index at = 0;
  for (const LabelledSpectrum* s : spectra)
    for (int k = 0; k < cull::kAxes; ++k, ++at) {
      inputs.col(at) = cull::axis_features(s->bands, k);
      wanted[at] = static_cast<float>(std::log(width_along(*s, k * kPi / cull::kAxes)));
    }
  bench::TrainingOptions options;
  options.rounds = rounds;
  options.batch = 512;
  options.first_rate = 3e-3;
  const auto gradient = [&](const Matrix& outputs, const std::vector<int>& members) {
    Matrix g(1, outputs.cols());
    for (Eigen::Index i = 0; i < outputs.cols(); ++i)
      g(0, i) = std::clamp(outputs(0, i) - wanted[members[i]], -0.3F, 0.3F);
    return g;
  };
  return bench::fit_network(inputs, gradient, options);
}

cull::DirectedWidth coarse(const cull::BlurNetwork& network, const LabelledSpectrum& s) {
  std::array<double, cull::kAxes> widths{};
  for (int k = 0; k < cull::kAxes; ++k)
    widths[k] = std::exp(network.evaluate(cull::axis_features(s.bands, k))[0]);
  return cull::directed_width(widths);
}

/// All inputs of the later networks, in the order in which they become known.
struct Seen {
  cull::DirectedWidth start;
  cull::WholeFeatures whole;
  cull::SpectrumFits fits;
  cull::EvidenceFeatures evidence;
};

float logistic(float x) {
  return 1 / (1 + std::exp(-x));
}

/// Sum of: cross entropy for the two odds, Huber for the logarithms of the lengths, Laplace likelihood for
/// the spread.
Matrix whole_gradient(const Matrix& out, const std::vector<const LabelledSpectrum*>& spectra,
                      const std::vector<int>& members) {
  Matrix g = Matrix::Zero(out.rows(), out.cols());
  for (Eigen::Index i = 0; i < out.cols(); ++i) {
    const LabelledSpectrum& s = *spectra[members[i]];
    const auto error = [&](int row, double wanted) { return out(row, i) - static_cast<float>(wanted); };
    const auto huber = [](float e) { return 2 * std::clamp(e, -0.5F, 0.5F); };
    if (s.sharp() || s.blurred())
      g(cull::kLogOddsBlurred, i) = logistic(out(cull::kLogOddsBlurred, i)) - (s.blurred() ? 1.0F : 0.0F);
    g(cull::kLogNarrowest, i) = huber(error(cull::kLogNarrowest, std::log(s.sigma_px())));
    const float widest = error(cull::kLogWidest, std::log(s.widest_px()));
    const float spread = std::exp(std::clamp(out(cull::kLogWidestSpread, i), -4.0F, 2.0F));
    g(cull::kLogWidest, i) = huber(widest) + 0.3F * (widest > 0 ? 1.0F : -1.0F) / (spread + 0.1F);
    g(cull::kLogWidestSpread, i) = std::clamp(0.3F * (1 - std::abs(widest) / spread), -1.0F, 1.0F);
    if (s.smeared()) g(cull::kLogSmear, i) = huber(error(cull::kLogSmear, std::log(s.recipe.smear_px)));
    if (!s.smeared() || s.recipe.smear_px >= 3)
      g(cull::kLogOddsSmeared, i) = logistic(out(cull::kLogOddsSmeared, i)) - (s.smeared() ? 1.0F : 0.0F);
  }
  return g;
}

using Spectra = std::vector<const LabelledSpectrum*>;

cull::BlurNetwork fit_outputs(const Spectra& spectra, const Matrix& inputs,
                              const bench::TrainingOptions& options) {
  return bench::fit_network(
      inputs,
      [&](const Matrix& out, const std::vector<int>& members) {
        return whole_gradient(out, spectra, members);
      },
      options);
}

cull::BlurNetwork fit_whole_network(const Spectra& spectra, const std::vector<Seen>& seen) {
  Matrix inputs(cull::kWholeFeatures, static_cast<Eigen::Index>(spectra.size()));
  for (std::size_t i = 0; i < spectra.size(); ++i) inputs.col(static_cast<Eigen::Index>(i)) = seen[i].whole;
  bench::TrainingOptions options;
  options.outputs = cull::kBlurOutputs;
  options.rounds = 40;
  return fit_outputs(spectra, inputs, options);
}

/// Every second sample comes again with the first answer of another one: on strange ground that answer can be
/// far off, and the fits and the edges must be able to outvote it.
cull::BlurNetwork fit_evidence_network(const Spectra& spectra, const std::vector<Seen>& seen) {
  Spectra wanted = spectra;
  std::vector<cull::EvidenceFeatures> evidence;
  for (const Seen& one : seen) evidence.push_back(one.evidence);
  std::mt19937 random(7);
  for (std::size_t i = 0; i < spectra.size(); i += 2) {
    wanted.push_back(spectra[i]);
    evidence.push_back(seen[i].evidence);
    evidence.back().head<cull::kBlurOutputs>() =
        seen[random() % seen.size()].evidence.head<cull::kBlurOutputs>();
  }
  Matrix inputs(cull::kEvidenceFeatures, static_cast<Eigen::Index>(wanted.size()));
  for (std::size_t i = 0; i < wanted.size(); ++i) inputs.col(static_cast<Eigen::Index>(i)) = evidence[i];
  bench::TrainingOptions options;
  options.outputs = cull::kBlurOutputs;
  options.hidden = {16};
  options.rounds = 100;
  options.input_noise = 0.3;
  options.weight_decay = 1e-3;
  return fit_outputs(wanted, inputs, options);
}

void print_scores(const char* name, const Spectra& spectra, const std::vector<Seen>& seen,
                  const std::vector<Eigen::VectorXf>& answers) {
  std::vector<double> sharp_odds, blurred_odds, sharp_width, blurred_width, length_error, fit_length_error,
      turn_error, sigma_error;
  for (std::size_t i = 0; i < spectra.size(); ++i) {
    const LabelledSpectrum& s = *spectra[i];
    const Eigen::VectorXf& out = answers[i];
    const cull::SpectrumFit& fit = seen[i].fits.smear;
    if (s.sharp())
      sharp_odds.push_back(out[cull::kLogOddsBlurred]), sharp_width.push_back(out[cull::kLogWidest]);
    if (s.blurred())
      blurred_odds.push_back(out[cull::kLogOddsBlurred]), blurred_width.push_back(out[cull::kLogWidest]);
    if (s.smeared() && s.recipe.smear_px >= 4 && s.recipe.smear_px <= 25) {
      length_error.push_back(std::abs(std::exp(out[cull::kLogSmear]) / s.recipe.smear_px - 1));
      fit_length_error.push_back(std::abs(fit.length_px / s.recipe.smear_px - 1));
      const double turn = std::fmod(fit.direction_rad * 180 / kPi - s.recipe.smear_deg + 90 + 3600, 180) - 90;
      turn_error.push_back(std::abs(turn));
    }
    if (!s.smeared() && s.recipe.sigma_px >= 1.3)
      sigma_error.push_back(std::abs(std::exp(out[cull::kLogNarrowest]) / s.sigma_px() - 1));
  }
  std::printf(
      "%-24s %5zu spectra | area by odds %.4f by width %.4f, balanced %.3f (at log odds %.2f) | length: fit "
      "%.3f network %.3f, direction %.2f deg | sigma %.3f\n",
      name, spectra.size(), bench::area_under_curve(blurred_odds, sharp_odds),
      bench::area_under_curve(blurred_width, sharp_width),
      bench::best_balanced(blurred_odds, sharp_odds).accuracy,
      bench::best_balanced(blurred_odds, sharp_odds).limit, bench::median(fit_length_error),
      bench::median(length_error), bench::median(turn_error), bench::median(sigma_error));
}

/// Spectra of one part (sources that the first networks learn from, or the others) with what the first
/// network and the fits see.
struct Part {
  Spectra spectra;
  std::vector<Seen> seen;

  void look(const cull::BlurNetwork& axis_network) {
    for (const LabelledSpectrum* s : spectra) {
      Seen one;
      one.start = coarse(axis_network, *s);
      one.whole = cull::whole_features(s->bands, s->context, one.start);
      seen.push_back(one);
    }
  }
  void weigh(const cull::BlurNetwork& whole_network) {
    for (std::size_t i = 0; i < spectra.size(); ++i) {
      seen[i].fits = cull::fit_shapes(bench::with_frequencies(spectra[i]->log_power));
      seen[i].evidence = cull::evidence_features(whole_network.evaluate(seen[i].whole), spectra[i]->context,
                                                 seen[i].start, seen[i].fits, spectra[i]->edges);
    }
  }
  [[nodiscard]] std::vector<Eigen::VectorXf> answers(const cull::BlurNetwork& network) const {
    std::vector<Eigen::VectorXf> out;
    for (const Seen& one : seen) out.push_back(network.evaluate(one.evidence));
    return out;
  }
  [[nodiscard]] std::vector<Eigen::VectorXf> first_answers(const cull::BlurNetwork& network) const {
    std::vector<Eigen::VectorXf> out;
    for (const Seen& one : seen) out.push_back(network.evaluate(one.whole));
    return out;
  }
};

void write(const std::string& folder, const char* file, const char* name, const cull::BlurNetwork& network) {
  std::ofstream out(folder + "/" + file);
  bench::write_network(out, name, network);
}

}  // namespace

int main(int argc, char** argv) {
  const std::string what = argc > 1 ? argv[1] : "";
  const int first = what == "write" ? 3 : 2;
  if ((what != "write" && what != "score") || argc <= first) {
    std::cerr << "fit_blur_networks score SPECTRA... | write FOLDER SPECTRA...\n";
    return 2;
  }
  std::vector<LabelledSpectrum> all;
  for (int i = first; i < argc; ++i)
    for (auto& s : bench::read_spectra(argv[i])) all.push_back(std::move(s));
  // The last network must learn how far the first ones can be trusted where they have not learnt: from
  // photographs kept from them.
  Part learnt, kept, tested;
  for (const LabelledSpectrum& s : all) {
    if (!kept_from_first(s))
      learnt.spectra.push_back(&s);
    else if (what == "score" && kept_from_all(s))
      tested.spectra.push_back(&s);
    else
      kept.spectra.push_back(&s);
  }
  const cull::BlurNetwork axis_network = fit_axis_network(learnt.spectra, 25);
  for (Part* part : {&learnt, &kept, &tested}) part->look(axis_network);
  const cull::BlurNetwork whole_network = fit_whole_network(learnt.spectra, learnt.seen);
  for (Part* part : {&kept, &tested}) part->weigh(whole_network);
  const cull::BlurNetwork evidence_network = fit_evidence_network(kept.spectra, kept.seen);
  print_scores("first, learnt", learnt.spectra, learnt.seen, learnt.first_answers(whole_network));
  print_scores("first, not learnt", kept.spectra, kept.seen, kept.first_answers(whole_network));
  print_scores("together, learnt", kept.spectra, kept.seen, kept.answers(evidence_network));
  if (what == "score") {
    print_scores("first, held out", tested.spectra, tested.seen, tested.first_answers(whole_network));
    print_scores("together, held out", tested.spectra, tested.seen, tested.answers(evidence_network));
    return 0;
  }
  write(argv[2], "axis_width_network.inc", "kAxisWidthNetwork", axis_network);
  write(argv[2], "whole_network.inc", "kWholeNetwork", whole_network);
  write(argv[2], "evidence_network.inc", "kEvidenceNetwork", evidence_network);
  return 0;
}
